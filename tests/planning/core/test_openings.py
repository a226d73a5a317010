"""The gaps over a pour's own lifts override those of its system: solver and check alike."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from planning.core.check import check
from planning.core.problem import Limits, Opening
from planning.core.solver.changes import warmer_shop
from planning.core.solver.gaps import gaps_over
from planning.core.week import plan_week
from tests.planning.core.weeks import DAY, SYSTEM, pour, problem

WORK = Limits(5.0, 1, work=200)


def week(*openings, **changes):
    """Return a week of one pour of three lifts."""
    high = pour("P", layers=((60, 5), (60, 5), (60, 5)), due_min=4 * DAY, openings=openings)
    return replace(problem(high), limits=WORK, **changes)


def over(lift, least, greatest, from_min=0, depth_mm=60.0):
    return Opening(lift, depth_mm, from_min, least, greatest)


def spans(plan):
    """Return first and last minute of pouring each lift, from the bottom up."""
    found = {}
    for batch in plan.batches:
        for portion in batch.portions:
            begun, ended = found.get(portion.lift, (10**9, 0))
            found[portion.lift] = min(begun, portion.start_min), max(ended, portion.end_min)
    return [found[lift] for lift in sorted(found)]


def waits(plan):
    return [upper[0] - lower[1] for lower, upper in pairwise(spans(plan))]


def test_each_lift_waits_for_its_own_opening():
    asked = week(over(0, 300, 900), over(1, 1300, 1299))
    plan = plan_week(asked)
    assert check(asked, plan) == []
    first, second = waits(plan)
    assert first >= 300
    assert second >= 1300
    assert [task.lift for task in plan.tasks if task.kind == "abrade"][-1:] == [2]
    shorter = week(over(0, 60, 900), over(1, 60, 900))
    assert waits(plan_week(shorter))[0] < 120, "they may be shorter than the system's too"


@pytest.mark.parametrize(
    "more", [over(0, 10_000, 10_001), over(1, 10_000, 10_001), over(0, 30, 29)]
)
def test_the_check_judges_by_them_too(more):
    held = over(1 - more.lift, 60, 3000)
    asked = week(over(0, 60, 3000), over(1, 60, 3000))
    plan = plan_week(asked)
    assert check(asked, plan) == []
    spoiled = replace(asked, pours=(replace(asked.pours[0], openings=(held, more)),))
    assert {one.rule for one in check(spoiled, plan)} == {"lift_gap"}


def test_the_strictest_count_for_a_lift_that_is_cut_otherwise():
    asked = week(over(0, 200, 900, depth_mm=30.0), over(1, 400, 700, depth_mm=30.0))
    plan = plan_week(asked)
    assert check(asked, plan) == []
    assert min(waits(plan)) >= 400
    gap = gaps_over(asked.pours[0], plan.lifts[0], SYSTEM).at(0)
    assert (gap.least, gap.greatest) == (400, 700)


def test_a_gap_as_long_as_no_plan_leaves_the_pour_out_with_a_reason():
    plan = plan_week(week(over(0, 1_000_000, 999_999), over(1, 60, 900)))
    (left,) = plan.unplaced
    assert (left.pour, left.rule) == ("P", "lift_gap")
    assert "lift 2 cannot follow the one below it" in left.words


def test_the_gap_is_that_of_the_day_on_which_the_lower_lift_is_poured():
    rows = [over(0, 100, 900), over(0, 500, 900, from_min=DAY), over(1, 60, 900)]
    gaps = gaps_over(week(*rows).pours[0], plan_week(week(*rows)).lifts[0], SYSTEM)
    assert [gaps.at(minute).least for minute in (0, DAY - 1, DAY, 9 * DAY)] == [100, 100, 500, 500]
    for end in (0, 700, DAY - 300, DAY - 1, DAY, DAY + 7):
        later = min(at + gaps.at(at).least for at in range(end, 3 * DAY))
        assert gaps.soonest(end) == later


@pytest.mark.parametrize("seed", range(6))
def test_random_openings_are_kept(seed):
    rng = np.random.default_rng([11, seed])
    rows = []
    for lift in (0, 1):
        for day in range(int(rng.integers(1, 4))):
            least = int(rng.integers(0, 1500))
            greatest = least + int(rng.integers(-1, 600))
            rows.append(over(lift, least, greatest, from_min=day * DAY))
    asked = week(*rows)
    plan = plan_week(asked)
    assert check(asked, plan) == []
    assert plan.unplaced == ()
    poured = spans(plan)
    for lift, wait in enumerate(waits(plan)):
        held = [one for one in rows if one.lift == lift and one.from_min <= poured[lift][1]][-1]
        assert wait >= held.least_min
        abraded = any(t.kind == "abrade" and t.lift == lift + 1 for t in plan.tasks)
        assert abraded or wait <= held.greatest_min


def test_a_warmer_shop_shortens_them_too():
    (warm,) = warmer_shop(week(over(0, 301, 901)), 0.5).pours
    assert [(one.least_min, one.greatest_min) for one in warm.openings] == [(151, 450)]
