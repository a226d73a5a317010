"""What is frozen is a fact: no breach of it is told, and what the plan adds to it is."""

from dataclasses import replace

from planning.core.check import check
from planning.core.plan import Frozen, Portion, Stand
from planning.core.problem import Layer, Place, Step
from planning.core.week import plan_week
from tests.planning.core import small_weeks, spoils, weeks


def rules(problem, plan):
    return {broken.rule for broken in check(problem, plan)}


def test_a_gap_between_frozen_pots_is_a_fact_whatever_else_goes_into_the_upper_lift():
    problem, plan = weeks.three_lifts()
    problem = spoils.clocks(problem, gap_least_min=301)
    second = replace(
        plan.batches[1], id="B2b", start_min=801, contact_min=806, pour_start_min=811,
        portions=(Portion("P", 1, 3, 811, 813),),
    )  # fmt: skip
    plan = replace(plan, batches=(*plan.batches, second))
    assert "lift_gap" in rules(problem, plan)
    frozen = replace(problem, frozen=Frozen(batches=plan.batches[:2]))
    assert "lift_gap" not in rules(frozen, plan)
    others = replace(problem, frozen=Frozen(batches=(plan.batches[0], second)))
    assert "lift_gap" in rules(others, plan)


def test_frozen_stands_that_by_now_overlap_are_a_fact_and_a_third_one_is_not():
    """Half A takes longer by now than until half B has begun on it."""
    problem, plan = weeks.matched()
    frozen = Frozen(plan.lifts, plan.batches[:1], plan.tasks[:2], plan.stands)
    problem = replace(spoils.step(problem, "after", wait_min=1350), frozen=frozen)
    below, above = plan.stands
    longer = replace(below, end_min=1980 + 1350)
    assert longer.end_min > above.start_min
    plan = replace(plan, stands=(longer, above))
    assert "place" not in rules(problem, plan)
    third = Stand("C", "bench1", above.start_min + 5, above.start_min + 20)
    assert "place" in rules(problem, replace(plan, stands=(longer, above, third)))
    # what the plan adds after the frozen end is its own
    own = replace(problem, frozen=replace(frozen, stands=(below, replace(above, end_min=3310))))
    assert "place" in rules(own, plan)
    unforced = replace(plan, stands=(replace(longer, end_min=longer.end_min + 30), above))
    assert "place" in rules(problem, unforced)


def test_a_frozen_step_is_let_go_when_its_oven_is_closed_though_it_waits_for_nothing():
    dry = Step("dry", "Warm through", 10, 0, oven_cycle="50C")
    ovens = (Place("oven-1", "oven", 1), Place("oven-2", "oven", 1))
    week = small_weeks.problem(
        small_weeks.pour("A", before=(dry,), layers=(Layer(20.0, 3.0),)),
        places=(Place("bench-1", "bench", 1), *ovens),
    )
    plan = plan_week(week)
    (task,) = [t for t in plan.tasks if t.step == "dry"]
    frozen = Frozen(plan.lifts, plan.batches, (), plan.stands)
    places = tuple(
        replace(p, closed=((task.end_min - 60, task.end_min + 600),)) if p.id == task.oven else p
        for p in week.places
    )
    again = small_weeks.set_to(
        replace(week, previous=plan, frozen=frozen, places=places),
        freeze_until_min=task.start_min - 1,
    )
    found = plan_week(again)
    assert check(again, found) == []
    assert found.unplaced == ()
    (moved,) = [t for t in found.tasks if t.step == "dry"]
    assert moved.oven != task.oven
