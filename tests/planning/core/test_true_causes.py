"""Planted causes that were once misnamed: the true rule is named, the change works by planning."""

from dataclasses import replace

import pytest

from planning.core.check import check
from planning.core.problem import Layer, Mixer, Person, Place, Step
from planning.core.solver.helping import what_helps
from planning.core.week import plan_week
from tests.planning.core.small_weeks import (
    DAY,
    clocks,
    lots,
    pour,
    problem,
    shifts,
    system,
)

BAKE = Step("bake", "Post-cure", 5, 600, oven_cycle="60C")
BENCH = Place("bench-1", "bench", 6)
DEEP = (Layer(40.0, 4.0),)


def hot(*places: Place):
    return problem(pour("A", after=(BAKE,)), places=(BENCH, *places))


def other_cycle():
    """Return a week in which another load is in the only oven as long as it lasts."""
    long = replace(BAKE, wait_min=4 * DAY, longest_wait_min=4 * DAY + 10, oven_cycle="80C")
    soon = replace(BAKE, longest_wait_min=700)
    return problem(
        pour("F", after=(long,), weight=9, due_min=0),
        pour("A", after=(soon,), earliest_min=DAY + 480),
        places=(BENCH, Place("oven-1", "oven", 4)),
        people=(Person("T1", shifts(3), ("mix",)),),
    )


CAUSES = {
    "oven closed all week": (
        "oven", "a second oven", hot(Place("oven-1", "oven", closed=((0, 90 * DAY),))),
    ),
    "oven with another load": ("oven", "a second oven", other_cycle()),
    "its own depth limit": (
        "lift_depth", "let the lifts of A be 40 mm deep",
        problem(pour("A", layers=DEEP, deepest_lift_mm=20.0)),
    ),
    "no material at all": ("lot_mass", "more of R and", problem(pour("A"), lots=())),
    "gel with one mixer": (
        "wet_on_wet", "",
        problem(
            pour("A", 18.0), mixers=(Mixer("M1", 10.0),),
            people=(Person("T1", shifts(), ("mix",), count=2),),
            systems=(system(conditions=(clocks(pot_life_min=24, gel_limit_min=24),)),),
        ),
    ),
    "an overfull week": (
        "person_busy", "",
        problem(
            *(pour(x, 9.0, may_share=False, due_min=900) for x in ("B", "C", "D", "A")),
            people=(Person("T1", ((480, 560),), ("mix",)),),
        ),
    ),
}  # fmt: skip


@pytest.mark.parametrize(("rule", "words", "week"), CAUSES.values(), ids=list(CAUSES))
def test_the_true_cause_is_named_first_and_the_change_works(rule, words, week):
    plan = plan_week(week)
    assert check(week, plan) == []
    told = plan.unplaced[-1]
    assert told.rule == rule, told
    assert told.change
    assert words in told.change
    change = what_helps(week, told.pour)
    again = plan_week(change.problem)
    assert check(change.problem, again) == []
    assert told.pour not in {u.pour for u in again.unplaced}
    assert len(again.unplaced) < len(plan.unplaced)


def test_what_lets_the_lower_half_through_is_named_for_the_upper_one_too():
    lower = pour("A", layers=DEEP, deepest_lift_mm=20.0)
    week = problem(lower, pour("B", stands_on="A"), horizon_min=4 * DAY, people=(
        Person("T1", shifts(4), ("mix",)),
    ))  # fmt: skip
    plan = plan_week(week)
    told = {u.pour: u for u in plan.unplaced}
    assert "let the lifts of A be 40 mm deep" in told["B"].change
    change = what_helps(week, "B")
    assert plan_week(change.problem).unplaced == ()


def test_material_is_asked_for_by_the_latest_morning_that_helps():
    week = problem(pour("A"), lots=lots()[:1])
    (told,) = plan_week(week).unplaced
    assert told.change == "0.8 kg more of H by Tuesday 1 December, 08:00"
