"""Weeks that cannot be done, each for one planted cause: it is named, and the change works."""

import re
from dataclasses import replace

import pytest

from planning.core.check import check
from planning.core.plan import Frozen
from planning.core.problem import Layer, Mixer, Person, Place
from planning.core.solver.explain import finish_of, why_late, why_unplaced
from planning.core.solver.helping import what_helps
from planning.core.week import plan_week
from tests.planning.core.small_weeks import (
    DAY,
    clocks,
    coat,
    lots,
    pour,
    problem,
    set_to,
    shifts,
    system,
)

TWO_LIFTS = (Layer(40.0, 3.0), Layer(40.0, 3.0))
GAPS = clocks(gap_least_min=500, gap_greatest_min=600)


def with_clocks(**clock: int):
    return problem(pour("A"), systems=(system(conditions=(clocks(**clock),)),))


def closed(end: int = 90 * DAY):
    return Place("bench-1", "bench", 1, closed=((0, end),))


def people(*shift: tuple[int, int], skill: str = "mix"):
    return (Person("T1", shift, (skill,)),)


CAUSES = {
    "hardener short": ("lot_mass", "0.8 kg more of H", problem(pour("A"), lots=lots()[:1])),
    "hardener out of date": (
        "lot_date",
        "0.8 kg more of H",
        problem(pour("A", earliest_min=600), lots=lots(usable_until_min=500)),
    ),
    "shift too short": (
        "shift",
        "60 min more on Monday",
        problem(pour("A", 9.0), people=people((480, 500))),
    ),
    "nobody may mix": (
        "skill",
        "T1 trained for 'mix'",
        problem(pour("A"), people=people(*shifts(), skill="coat")),
    ),
    "two people asked, one there": (
        "skill",
        "another person like T1",
        problem(pour("A"), systems=(system(hands=2),)),
    ),
    "pot dies before pouring": ("pot_life", "a slower system", with_clocks(pot_life_min=5)),
    "layer too deep": (
        "lift_depth",
        "lifts may be 70 mm deep",
        problem(pour("A", layers=(Layer(70.0, 4.0),))),
    ),
    "gap falls into the night": (
        "lift_gap",
        "overdue lift to be abraded",
        set_to(
            problem(
                pour("A", layers=TWO_LIFTS), systems=(system(conditions=(GAPS,), abrade_min=10),)
            ),
            overdue_lift="forbid",
        ),
    ),
    "bench closed": ("place", "stays open", problem(pour("A"), places=(closed(),))),
    "no such place": (
        "place",
        "a place of kind 'bench'",
        problem(pour("A"), places=(Place("floor", "floor"),)),
    ),
    "no oven": (
        "oven",
        "an oven",
        problem(pour("A", after=(coat(5, 60, oven_cycle="60C"),))),
    ),
    "peak in an empty shop": ("attended", "somebody to watch", with_clocks(attend_min=500)),
    "last pour before it can be mixed": (
        "last_pour",
        "allow pours until 09:00",
        set_to(problem(pour("A")), last_pour_clock_min=480),
    ),
    "coat dries longer than it may wait": (
        "step_order",
        "between the last step and the pour",
        set_to(problem(pour("A", before=(coat(10, 60),))), coat_to_pour_most_min=30),
    ),
    "pot too light": (
        "batch_mass",
        "a small pot",
        problem(pour("A", 2.0), systems=(system(least_batch_kg=3.0),)),
    ),
    "mixer closed": (
        "mixer_busy",
        "a second mixer M1",
        problem(pour("A"), mixers=(Mixer("M1", 10.0, closed=((0, 9 * DAY),)),)),
    ),
}


@pytest.mark.parametrize(("rule", "words", "week"), CAUSES.values(), ids=list(CAUSES))
def test_the_cause_is_named_and_the_change_works(rule, words, week):
    plan = plan_week(week)
    assert check(week, plan) == []
    (told,) = plan.unplaced
    assert (told.pour, told.rule) == ("A", rule)
    assert words in told.change
    assert "A" in told.words
    change = what_helps(week, "A")
    assert change.words == told.change
    again = plan_week(change.problem)
    assert again.unplaced == ()
    assert check(change.problem, again) == []


def with_names(week):
    """Give everything the name that people use, and ids they must never read."""
    return replace(
        week,
        people=tuple(replace(p, name="Tess") for p in week.people),
        mixers=tuple(replace(m, name="Large mixer") for m in week.mixers),
        systems=tuple(replace(s, name="Slow tooling resin") for s in week.systems),
        pours=tuple(replace(p, name=f"Tool 7, half {p.id}") for p in week.pours),
    )


@pytest.mark.parametrize("week", [row[2] for row in CAUSES.values()], ids=list(CAUSES))
def test_people_read_names_and_no_ids(week):
    (told,) = plan_week(with_names(week)).unplaced
    assert "Tool 7, half A" in told.words
    read = f"{told.words} {told.change}".replace("Tool 7, half A", "")
    assert re.findall(r"\b(A|T1|M1|S|bench-1)\b", read) == []


def test_a_late_pour_is_told_by_name_how_late_it_is_and_what_no_single_change_mends():
    due = 480 + 10 + 9 + 600
    many = [pour(f"P{n}", 9.0, due_min=due, may_share=False) for n in range(4)]
    week = with_names(problem(*many, mixers=(Mixer("M1", 10.0),)))
    plan = plan_week(week)
    late = max(week.pours, key=lambda p: finish_of(week, plan, p.id))
    told = why_late(week, plan, late.id)
    assert told.words.startswith(f"{late.name} is done on Monday 30 November, ")
    assert " min late: " in told.words
    cut = why_late(week, plan, late.id, lambda: True)
    assert (cut.rule, cut.change) == ("several", "")
    assert cut.words.endswith("in the time given to look for one.")


def test_a_pour_too_long_for_its_due_date_is_told_so():
    week = problem(pour("A", due_min=700))
    told = why_late(week, plan_week(week), "A")
    assert told.rule in {"cure", "pot_life"}
    assert told.words.startswith("A is done on Monday 30 November, ")


def test_a_pour_left_without_a_change_is_looked_into_again():
    week = problem(pour("A", 9.0), people=people((480, 500)))
    (told,) = plan_week(week).unplaced
    bare = replace(told, change="")
    assert why_unplaced(week, bare) == told
    assert why_unplaced(week, bare, lambda: True).words.endswith("given to look for one.")


def test_a_pour_on_top_of_one_without_a_place_says_so():
    week = problem(pour("A", layers=(Layer(70.0, 4.0),)), pour("B", stands_on="A"))
    told = {u.pour: u for u in plan_week(week).unplaced}
    assert told["B"].rule == "stands_on"
    assert "A" in told["B"].words


def test_a_late_pour_is_told_what_would_bring_it_in_on_time():
    people = (Person("T1", shifts(), ("mix",)),)
    due = 480 + 10 + 9 + 600
    week = problem(
        pour("A", 9.0, due_min=due, may_share=False),
        pour("B", 9.0, due_min=due, may_share=False),
        people=people,
        mixers=(Mixer("M1", 10.0, count=2),),
    )
    plan = plan_week(week)
    late = [p for p in ("A", "B") if why_late(week, plan, p)]
    assert len(late) == 1
    told = why_late(week, plan, late[0])
    assert (told.rule, told.change) == ("person_busy", "another person like T1")


def test_materials_are_called_by_their_names():
    named = system(resin_name="Tooling resin", hardener_name="Slow hardener")
    week = problem(pour("A"), systems=(named,), lots=lots()[:1])
    (told,) = plan_week(week).unplaced
    assert "Slow hardener" in told.words
    assert told.change.startswith("0.8 kg more of Slow hardener by ")


def test_a_pour_without_a_place_is_late_for_the_reason_the_plan_gives():
    week = problem(pour("A"), lots=())
    plan = plan_week(week)
    assert why_late(week, plan, "A") == plan.unplaced[0]


def test_nothing_is_said_of_a_pour_in_time():
    week = problem(pour("A"))
    assert why_late(week, plan_week(week), "A") is None


def only_the_upper_lift():
    """Return a week whose pour has its upper lift fixed and its lower one in no plan."""
    week = problem(pour("A", layers=TWO_LIFTS), systems=(system(deepest_lift_mm=40.0),))
    plan = plan_week(week)
    lift = next(x for x in plan.lifts if x.lift == 1)
    batch = next(b for b in plan.batches if b.portions[0].lift == 1)
    frozen = Frozen(lifts=(lift,), batches=(batch,), stands=plan.stands)
    kept = replace(plan, lifts=(lift,), batches=(batch,))
    return replace(week, frozen=frozen), kept


def test_a_plan_that_leaves_out_the_lift_below_a_fixed_one_breaks_a_rule():
    week, kept = only_the_upper_lift()
    assert "lift_depth" in {broken.rule for broken in check(week, kept)}


def test_a_lift_fixed_above_one_that_is_not_is_no_reason_to_forget_the_lower_one():
    week, _ = only_the_upper_lift()
    (told,) = plan_week(week).unplaced
    assert (told.rule, told.pour) == ("lift_depth", "A")
    assert "has lift 2 fixed, but a lift below it is not" in told.words


def test_material_that_comes_in_later_delays_the_pour_and_loses_nothing():
    week = problem(pour("A"), lots=lots(available_from_min=700))
    plan = plan_week(week)
    assert plan.unplaced == ()
    assert plan.batches[0].start_min >= 700
    assert check(week, plan) == []


def test_expiry_is_a_latest_pour_time():
    week = problem(pour("A", 9.0, due_min=600), pour("B", 9.0), lots=lots(usable_until_min=900))
    week = replace(week, people=(Person("T1", ((480, 960), (DAY + 480, DAY + 960)), ("mix",)),))
    plan = plan_week(week)
    assert all(b.pour_end_min <= 900 for b in plan.batches)
    assert check(week, plan) == []
