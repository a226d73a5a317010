"""Corners of a week planned again: steps between weighing and pouring, and what goes away."""

from dataclasses import replace

import pytest

from planning.core.check import check
from planning.core.plan import Frozen
from planning.core.problem import Layer, Lot, Mixer, Person, Place, Step
from planning.core.week import plan_week
from tests.planning.core.small_weeks import DAY, coat, pour, problem, set_to, shifts, system


def coated_while_weighed():
    """Return a week, planned, in which the last step before a pour starts after weighing began."""
    last = Step("wipe", "Wipe the mould", 3, 0, "coat")
    week = problem(
        pour("A", before=(coat(), last)),
        people=(Person("T1", shifts(), ("mix",)), Person("T2", shifts(), ("coat",))),
        systems=(system(weigh_min=20),),
    )
    plan = plan_week(week)
    (wipe,) = [t for t in plan.tasks if t.step == "wipe"]
    assert plan.batches[0].start_min < wipe.start_min
    return week, plan


def test_a_step_between_weighing_and_pouring_stays_when_the_pot_is_frozen():
    week, plan = coated_while_weighed()
    begun = tuple(t for t in plan.tasks if t.step == "coat")
    frozen = Frozen(plan.lifts, plan.batches, begun, plan.stands)
    for previous in (None, plan):
        again = replace(week, frozen=frozen, previous=previous)
        found = plan_week(again)
        assert check(again, found) == []
        assert found.unplaced == ()
        (wipe,) = [t for t in found.tasks if t.step == "wipe"]
        assert wipe.end_min <= plan.batches[0].pour_start_min
        if previous is not None:
            assert wipe in plan.tasks


def test_a_begun_pour_says_so_where_a_step_before_it_can_no_longer_be_done():
    week, plan = coated_while_weighed()
    begun = tuple(t for t in plan.tasks if t.step == "coat")
    gone = (week.people[0], replace(week.people[1], shifts=shifts()[1:]))
    frozen = Frozen(plan.lifts, plan.batches, begun, plan.stands)
    again = replace(week, frozen=frozen, people=gone)
    found = plan_week(again)
    assert check(again, found) == []
    assert [u.rule for u in found.unplaced] == ["step_order"]


def two_pots(people):
    """Return a lift of two pots in two mixers, planned, frozen up to the end of the first."""
    week = problem(
        pour("A", 18.0),
        people=people,
        mixers=(Mixer("M1", 10.0), Mixer("M2", 10.0)),
        systems=(system(),),
    )
    plan = plan_week(week)
    first, second = sorted(plan.batches, key=lambda b: b.start_min)
    return set_to(replace(week, previous=plan), freeze_until_min=first.start_min + 1), second


CREW = (Person("T1", shifts(), ("mix", "coat")), Person("T2", shifts(), ("mix",)))


def test_a_pot_moves_to_another_mixer_when_its_own_breaks_in_the_middle_of_a_lift():
    week, second = two_pots(CREW)
    mixers = tuple(
        replace(m, closed=((second.contact_min, DAY),)) if m.id == second.mixer else m
        for m in (*week.mixers, Mixer("M3", 10.0))
    )
    again = replace(week, mixers=mixers)
    found = plan_week(again)
    assert check(again, found) == []
    assert found.unplaced == ()
    assert second.mixer not in {b.mixer for b in found.batches if b.end_min > second.contact_min}


def test_a_lift_that_cannot_be_finished_without_its_mixer_is_reported():
    week, second = two_pots(CREW)
    mixers = tuple(replace(m, closed=((second.contact_min, 3 * DAY),)) for m in week.mixers)
    again = replace(week, mixers=mixers)
    found = plan_week(again)
    assert check(again, found) == []
    assert [u.pour for u in found.unplaced] == ["A"]


def test_a_lift_that_loses_a_person_in_the_middle_is_finished_by_another_or_reported():
    week, second = two_pots(CREW)
    for crew, left in (((*CREW, Person("T3", shifts(), ("mix",))), 0), (CREW, 1)):
        people = tuple(
            replace(p, shifts=((480, second.start_min),)) if p.id in second.people else p
            for p in crew
        )
        again = replace(week, people=people)
        found = plan_week(again)
        assert check(again, found) == []
        assert len(found.unplaced) <= left


def test_an_oven_that_goes_away_in_the_middle_of_a_week_is_left_for_another():
    bake = Step("bake", "Post-cure", 5, 300, "", oven_cycle="60C")
    ovens = (Place("oven-1", "oven"), Place("oven-2", "oven"))
    week = problem(pour("A", after=(bake,)), places=(Place("bench-1", "bench", 6), *ovens))
    plan = plan_week(week)
    (task,) = [t for t in plan.tasks if t.step == "bake"]
    places = tuple(
        replace(p, closed=((task.end_min, 9 * DAY),)) if p.id == task.oven else p
        for p in week.places
    )
    again = set_to(replace(week, previous=plan, places=places), freeze_until_min=600)
    found = plan_week(again)
    assert check(again, found) == []
    assert found.unplaced == ()
    alone = replace(
        again, places=tuple(p for p in places if p.id == task.oven or p.kind != "oven")
    )
    lone = plan_week(alone)
    assert check(alone, lone) == []
    assert [u.pour for u in lone.unplaced] == ["A"]


def refused(words, **changes):
    with pytest.raises(ValueError, match=words):
        problem(**changes) if "pours" not in changes else problem(*changes.pop("pours"), **changes)


def test_what_contradicts_itself_is_refused_with_its_name():
    ring = (pour("A", stands_on="B"), pour("B", stands_on="C"), pour("C", stands_on="A"))
    refused("ring of pours A, B, C", pours=ring)
    refused("ring of pours A", pours=(pour("A", stands_on="A"),))
    with pytest.raises(ValueError, match="before of pour A has the step 'coat' twice"):
        pour("A", before=(coat(), coat()))
    with pytest.raises(ValueError, match="after of pour A has the step 'coat' twice"):
        pour("A", after=(coat(), coat()))
    heirs = [pour(x, stands_on="A", same_place=True) for x in ("B", "C")]
    refused("pours B and C both stay in the place of pour A", pours=(pour("A"), *heirs))
    other = pour("B", stands_on="A", same_place=True, place_kind="floor")
    refused("stays in the place of pour A, but asks for a 'floor'", pours=(pour("A"), other))
    can = problem().lots[0].containers[0]
    refused("containers of lot R1 has the id 'R1a' twice", lots=(Lot("R1", "R", (can, can)),))
    plan = plan_week(problem(pour("A", layers=(Layer(40.0, 3.0),))))
    frozen = Frozen(batches=(*plan.batches, *plan.batches))
    refused("frozen.batches has the id 'B001' twice", pours=(pour("A"),), frozen=frozen)
    refused("frozen.stands has the id 'A' twice", frozen=Frozen(stands=plan.stands * 2))
