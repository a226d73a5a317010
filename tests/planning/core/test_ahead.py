"""Looking ahead: never later than what comes about, and exact for a pour that is alone."""

import pytest

from planning.core.problem import Person, Step
from planning.core.solver import search
from planning.core.solver.board import lateness
from planning.core.solver.case import Case
from planning.core.solver.prices import Prices
from tests.benchmarks.generator import week
from tests.planning.core.small_weeks import DAY, coat, pour, problem, shifts


def start(case):
    return search.start(case, case.empty, Prices(), search.Meter(10**6, lambda: False), 1)


@pytest.mark.parametrize("seed", range(4))
def test_no_pour_of_a_plan_is_less_late_than_the_look_ahead_says(seed):
    case = Case(week(40, seed))
    board = start(case)
    assert len(board.placed) == 40
    for index, placed in board.placed.items():
        job = case.jobs[index]
        if job.parent is None:
            own = placed.late + sum(board.placed[c].late for c in job.children)
            assert case.shop.ahead.late_after(job, -1, 0) <= own
            for lift, ids in enumerate(placed.pots):
                end = max(
                    s.end
                    for i in ids
                    for s in board.pots[job.chemistry.index][i].shares
                    if s.job == index
                )
                assert case.shop.ahead.late_after(job, lift, end) <= own


@pytest.mark.parametrize("due", range(600, 2400, 150))
def test_of_a_pour_alone_in_the_shop_the_look_ahead_is_exact(due):
    strip = Step("strip", "Strip", 20, 0, "coat")
    one = pour("A", before=(coat(),), after=(strip,), due_min=due)
    case = Case(problem(one, people=(Person("T1", shifts(3), ("mix", "coat")),)))
    placed = start(case).placed[0]
    assert case.shop.ahead.late_after(case.jobs[0], -1, 0) == placed.late
    assert case.shop.ahead.moments(case.jobs[0], 0)[-1] == placed.finish


def test_a_half_counts_what_its_late_end_does_to_the_half_that_stands_on_it():
    """
    By hand: work from 08:00 to 16:00. A is poured at 08:10 + 4 min and cured ten hours later, at
    18:14. B is poured at 08:10 the next day, cured at 18:14, and due at 18:14: nothing is late.
    Had A been poured to 22:00, it would be cured at 08:00, B poured 08:10 to 08:14 and as good as
    before; to 06:10 the next day, B could be begun at 16:10 only, so a day later: a day late.
    """
    a = pour("A", due_min=9 * DAY)
    b = pour("B", stands_on="A", due_min=DAY + 1094)
    case = Case(problem(a, b, people=(Person("T1", shifts(3), ("mix", "coat")),)))
    ahead, job = case.shop.ahead, case.jobs[0]
    assert ahead.late_after(job, -1, 0) == 0
    assert ahead.late_after(job, 0, 1320) == 0
    assert ahead.late_after(job, 0, DAY + 370) == lateness(case.jobs[1], 2 * DAY + 1094) == DAY


def test_a_pour_need_not_be_begun_before_its_latest_start_and_not_after():
    one = pour("A", due_min=DAY + 1094)
    case = Case(problem(one, people=(Person("T1", shifts(3), ("mix", "coat")),)))
    latest = case.shop.ahead.latest_start(case.jobs[0])
    # to be cured in time it must be poured from 08:10 on the second day, begun at 08:00
    assert latest == DAY + 480
