"""An oven load waits for one more tool where that makes nothing in it late."""

from dataclasses import replace

import pytest

from planning.core.check import check
from planning.core.problem import Person, Place, Step
from planning.core.week import plan_week
from tests.planning.core.small_weeks import DAY, pour, problem, shifts

BAKE = Step("bake", "Post-cure", 5, 600, "coat", oven_cycle="60C")


def bakes(first_due: int, **oven: object):
    """Return when each of two tools goes into the oven; B is cured an hour and more after A."""
    week = problem(
        pour("A", after=(BAKE,), due_min=first_due, may_share=False),
        pour("B", after=(BAKE,), due_min=2 * DAY + 700, may_share=False, earliest_min=560),
        people=(
            Person("T1", shifts(3), ("mix", "coat"), count=2),
            # who bakes is there all night, so that cure alone says when a tool is ready
            Person("T2", ((0, 3 * DAY),), ("coat",)),
        ),
        places=(Place("bench-1", "bench", 6), Place("oven-1", "oven", 3, **oven)),
    )
    plan = plan_week(week)
    assert check(week, plan) == []
    starts = {t.pour: t.oven_start_min for t in plan.tasks if t.step == "bake"}
    ready = {t.pour: t.end_min for t in plan.tasks if t.step == "bake"}
    assert ready["A"] + 60 <= ready["B"]
    return starts, ready, plan.figures.lateness


def test_a_load_waits_for_a_tool_that_is_ready_later():
    starts, ready, late = bakes(first_due=2 * DAY)
    assert starts["A"] == starts["B"] == ready["B"]
    assert late == 0


def test_a_load_does_not_wait_where_that_would_make_a_tool_late():
    _, ready, _ = bakes(first_due=2 * DAY)
    starts, _, late = bakes(first_due=ready["A"] + BAKE.wait_min + 10)
    assert starts["A"] == ready["A"]
    assert starts["B"] >= starts["A"] + BAKE.wait_min
    assert late == 0


@pytest.mark.parametrize("oven", [{"closed": ((1300, 1900),)}])
def test_a_load_is_not_held_into_hours_at_which_the_oven_is_closed(oven):
    starts, ready, _ = bakes(first_due=2 * DAY, **oven)
    for at in starts.values():
        assert at >= 1900 or at + BAKE.wait_min <= 1300
    assert all(starts[p] >= ready[p] for p in starts)


def test_a_load_is_held_no_longer_than_a_tool_may_wait():
    short = replace(BAKE, longest_wait_min=BAKE.wait_min + 30)
    week = problem(
        pour("A", after=(short,), may_share=False),
        pour("B", after=(short,), may_share=False, earliest_min=560),
        people=(
            Person("T1", shifts(3), ("mix", "coat"), count=2),
            Person("T2", ((0, 3 * DAY),), ("coat",)),
        ),
        places=(Place("bench-1", "bench", 6), Place("oven-1", "oven", 3)),
    )
    plan = plan_week(week)
    assert check(week, plan) == []
    baked = [t for t in plan.tasks if t.step == "bake"]
    assert all(t.oven_start_min <= t.end_min + 30 for t in baked)
