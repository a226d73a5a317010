"""Where a pour stands while it waits for the one that takes its place over."""

from dataclasses import replace

from planning.core.check import check
from planning.core.problem import Container, Lot, Person, Place
from planning.core.week import plan_week
from tests.planning.core.small_weeks import DAY, lots, pour, problem, shifts, system


def upper_half_late(closed):
    """Return a week whose upper half must wait for its resin, the lower half below it."""
    late = Lot("R2", "R2", (Container("R2a", 50.0, 30 * DAY, available_from_min=4 * DAY),))
    return problem(
        pour("A"),
        pour("B", stands_on="A", same_place=True, system="T"),
        horizon_min=6 * DAY,
        people=(Person("T1", shifts(6), ("mix",)),),
        systems=(system(), replace(system(), id="T", resin="R2")),
        lots=(*lots(), late),
        places=(Place("bench-1", "bench", 1, closed),),
    )


def test_a_lower_half_is_not_left_in_a_place_that_closes_before_the_upper_one_begins():
    week = upper_half_late(((3 * DAY, 3 * DAY + 600),))
    plan = plan_week(week)
    assert check(week, plan) == []
    assert plan.unplaced != () or min(s.start_min for s in plan.stands) > 3 * DAY


def test_a_lower_half_keeps_its_place_until_an_upper_one_that_comes_later_than_reckoned():
    week = upper_half_late(())
    plan = plan_week(week)
    assert check(week, plan) == []
    assert plan.unplaced == ()
    again = replace(week, places=(replace(week.places[0], closed=((3 * DAY, 3 * DAY + 600),)),))
    again = replace(again, previous=plan, settings=replace(week.settings, freeze_until_min=500))
    found = plan_week(again)
    assert check(again, found) == []
