"""Timing a plan anew with CP-SAT makes it less late and breaks no rule."""

import pytest

from planning.core.check import check
from planning.core.solver import answer, search
from planning.core.solver.bounds import Alone
from planning.core.solver.case import Case
from planning.core.solver.lots import give_out
from planning.core.solver.prices import Prices
from planning.core.solver.retime import _Week, retime
from planning.core.solver.timing import breaches
from tests.benchmarks.generator import week


def first_board(pours: int, seed: int):
    case = Case(week(pours, seed))
    meter = search.Meter(10**6, lambda: False)
    return case, search.start(case, case.empty, Prices(), meter, 2)


@pytest.mark.parametrize("seed", [3, 8])
def test_a_late_week_becomes_less_late(seed):
    case, board = first_board(60, seed)
    found = retime(case, board, Prices(), work=2.0, seconds=300)
    assert Alone(case).lateness <= found.late < board.late
    assert found.pot_count == board.pot_count
    plan = answer.make_plan(case, found, give_out(case, found), ())
    assert check(case.problem, plan) == []


@pytest.mark.parametrize("seed", range(4))
def test_the_model_allows_the_plan_it_is_made_from(seed):
    case, board = first_board(24, seed)
    timed = _Week(case, board)
    assert breaches(timed.model(), timed.now) == []
