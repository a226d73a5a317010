"""Construct again with what was late put in sooner: never worse, often at the bound."""

import pytest

from planning.core.solver import bounds, search
from planning.core.solver.case import Case
from planning.core.solver.prices import Prices
from planning.core.solver.turns import take_turns
from tests.benchmarks.generator import week


def first_and_turned(pours: int, seed: int, work: int = 10**6):
    case = Case(week(pours, seed))
    prices = Prices.of(case)
    meter = search.Meter(work, lambda: False)
    first = search.start(case, case.empty, prices, meter, 1)
    least = bounds.Alone(case).late
    told = []
    found = take_turns(case, first, prices, meter, least, seed, told.append)
    return first, found, sum(least.values()), told, meter


@pytest.mark.parametrize(("pours", "seed"), [(120, 2), (60, 3), (250, 3)])
def test_a_week_late_at_first_comes_down_to_what_no_plan_can_spare(pours, seed):
    first, found, bound, told, _ = first_and_turned(pours, seed)
    assert first.late > bound
    assert found.late == bound
    assert len(found.placed) == len(first.placed)
    assert told[-1] is found


def test_a_week_that_is_as_early_as_can_be_is_left_alone():
    first, found, bound, told, _ = first_and_turned(24, 4)
    assert first.late == bound
    assert found is first
    assert told == []


def test_it_is_never_worse_and_keeps_to_its_share_of_the_work():
    first, found, _, _, meter = first_and_turned(60, 1, work=1000)
    assert found.late <= first.late
    assert meter.done <= 60 + 300  # the constructor's own, then at most 0.3 of the rest


def test_the_same_seed_gives_the_same_board():
    one, other = (first_and_turned(60, 1)[1] for _ in range(2))
    assert one.placed == other.placed
    assert one.pots == other.pots
