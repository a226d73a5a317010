"""
Planted causes: the true rule is named first, and the change that is offered works when applied.

With those of `test_explain` and `test_true_causes` there are more than fifty.
"""

from dataclasses import replace

import pytest

from planning.core.check import check
from planning.core.problem import Mixer
from planning.core.solver.explain import finish_of, why_late
from planning.core.solver.helping import from_plan, what_helps
from planning.core.week import plan_week
from tests.planning.core.planted_causes import IN_TIME, LATE, UNPLACED, after
from tests.planning.core.small_weeks import pour, problem


@pytest.mark.parametrize(("rule", "words", "week"), UNPLACED.values(), ids=list(UNPLACED))
def test_why_a_pour_has_no_place_is_named_and_the_change_lets_it_through(rule, words, week):
    plan = plan_week(week)
    assert check(week, plan) == []
    told = {u.pour: u for u in plan.unplaced}
    assert told["A"].rule == rule, told["A"]
    assert words in told["A"].change
    change = what_helps(week, "A", plan=plan)
    assert change.words == told["A"].change
    again = plan_week(change.problem)
    assert check(change.problem, again) == []
    assert {u.pour for u in again.unplaced} < set(told) - {"A"} or again.unplaced == ()


def lateness(week, plan, id):
    return finish_of(week, plan, id) - next(p.due_min for p in week.pours if p.id == id)


@pytest.mark.parametrize(("rule", "words", "week"), LATE.values(), ids=list(LATE))
def test_why_a_pour_is_late_is_named_and_the_change_brings_it_in_on_time(rule, words, week):
    plan = plan_week(week)
    assert check(week, plan) == []
    late = [p.id for p in week.pours if lateness(week, plan, p.id) > 0]
    told = why_late(week, plan, late[-1])
    assert told.rule == rule, told
    assert words in told.change
    change = what_helps(week, told.pour, due=True, plan=plan)
    if rule == "cure":
        assert change is None
        return
    assert change.words == told.change
    again = plan_week(change.problem)
    assert check(change.problem, again) == []
    assert lateness(change.problem, again, told.pour) <= 0


def two_for_one_person():
    """Return a week of one person and two pours that come in late whoever does them."""
    first = pour("F", 9.0, due_min=IN_TIME - 20, may_share=False, weight=9)
    asked = pour("A", 9.0, due_min=IN_TIME - 20, may_share=False)
    return problem(first, asked, mixers=(Mixer("M1", 10.0, count=2),))


def test_a_change_that_helps_in_part_is_offered_with_what_it_gains():
    week = two_for_one_person()
    plan = plan_week(week)
    assert lateness(week, plan, "A") == 49
    told = why_late(week, plan, "A")
    assert told.rule == "person_busy"
    assert told.change == "another person like T1, then 25 min late instead of 49 min"
    change = what_helps(week, "A", due=True, plan=plan)
    again = plan_week(from_plan(change.problem, plan))
    assert check(change.problem, again) == []
    assert lateness(week, again, "A") == 25
    assert again.figures.lateness < plan.figures.lateness


def test_no_change_is_offered_for_a_pour_that_nothing_brings_in_sooner():
    week = problem(pour("A", due_min=500))
    assert what_helps(week, "A", due=True, plan=plan_week(week)) is None


def test_frozen_work_of_others_counts_when_a_pour_is_looked_at_alone():
    week = after(pour("F"), pour("A", due_min=IN_TIME), mixers=(Mixer("M1", 10.0),))
    plan = plan_week(week)
    told = why_late(week, plan, "A")
    assert told.rule != "cure"
    empty = replace(week, pours=week.pours[1:], frozen=problem().frozen)
    assert lateness(empty, plan_week(empty), "A") <= 0
