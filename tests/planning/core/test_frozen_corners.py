"""Frozen work in a shop that has changed since: new clocks, a closed place, fewer people."""

from dataclasses import replace

import pytest

from planning.core.check import check
from planning.core.plan import Frozen, Stand
from planning.core.problem import Layer, Person, Place, Step
from planning.core.solver.changes import warmer_shop
from planning.core.solver.frozen import most_at_once
from planning.core.week import plan_week
from tests.planning.core.small_weeks import (
    DAY,
    clocks,
    coat,
    pour,
    problem,
    set_to,
    shifts,
    system,
)


def later(week, until, **changes):
    """Return a week planned, and planned again from `until` on in another shop."""
    plan = plan_week(week)
    assert plan.unplaced == ()
    again = set_to(replace(week, previous=plan, **changes), freeze_until_min=until)
    return plan, again


def closed(week, start, end):
    return tuple(replace(p, closed=((start, end),)) for p in week.places)


def test_a_begun_stand_that_ends_sooner_than_planned_may_end_in_a_closed_place():
    week = problem(pour("A"))
    plan, again = later(week, DAY, places=closed(week, 600, 3 * DAY))
    again = warmer_shop(again, 0.8)
    found = plan_week(again)
    assert check(again, found) == []
    assert found.stands[0].end_min < plan.stands[0].end_min


def test_a_begun_stand_that_lasts_longer_than_planned_is_told_of_a_closed_place():
    week = problem(pour("A", after=(coat(),)))
    _, again = later(week, 600, places=closed(week, 900, 3 * DAY))
    found = plan_week(again)
    assert check(again, found) == []
    (stand,) = found.stands
    longer = replace(found, stands=(replace(stand, end_min=stand.end_min + 1),))
    assert [broken.rule for broken in check(again, longer)] == ["place"]


def test_a_half_begun_on_a_cure_that_takes_longer_by_now_stays_where_it_is():
    lower = pour("A")
    upper = pour("B", stands_on="A", same_place=True)
    people = (Person("T1", ((480, 1200),), ("mix",)),)
    week = problem(lower, upper, people=people)
    plan, again = later(week, 1300)
    again = warmer_shop(again, 1.2)
    found = plan_week(again)
    assert check(again, found) == []
    assert found.unplaced == ()
    assert [s.start_min for s in found.stands] == [s.start_min for s in plan.stands]


def pinned_tomorrow(people):
    """Return a week whose pour is pinned to tomorrow, with a coat before it that is not."""
    wipe = replace(coat(), id="wipe", longest_wait_min=60)
    week = problem(pour("A", before=(wipe,), earliest_min=DAY), people=people)
    plan = plan_week(week)
    frozen = Frozen(plan.lifts, plan.batches, (), plan.stands)
    return plan, set_to(replace(week, previous=plan, frozen=frozen), freeze_until_min=500)


TWO = (Person("T1", shifts(), ("mix",)), Person("T2", shifts(), ("coat",)))


@pytest.mark.parametrize("stands_in", [True, False])
def test_a_step_before_a_pinned_pot_is_given_to_another_when_its_person_is_away(stands_in):
    plan, again = pinned_tomorrow(TWO)
    more = (Person("T3", shifts(), ("coat",)),) if stands_in else ()
    again = replace(again, people=(TWO[0], replace(TWO[1], shifts=((480, 960),)), *more))
    found = plan_week(again)
    assert check(again, found) == []
    assert set(plan.batches) <= set(found.batches)
    assert [u.pour for u in found.unplaced] == ([] if stands_in else ["A"])


def test_a_step_beside_a_pinned_pot_is_given_up_when_one_of_two_alike_people_goes():
    wipe = replace(coat(5, 0), skill="", longest_wait_min=5)
    week = problem(
        pour("A", before=(wipe,)),
        people=(Person("T1", shifts(), ("mix",), count=2),),
        systems=(system(weigh_min=20),),
    )
    plan = plan_week(week)
    assert plan.tasks[0].start_min >= plan.batches[0].start_min
    frozen = Frozen(plan.lifts, plan.batches, (), plan.stands)
    one = (replace(week.people[0], count=1),)
    again = set_to(replace(week, previous=plan, frozen=frozen, people=one), freeze_until_min=100)
    found = plan_week(again)
    assert check(again, found) == []
    assert [u.pour for u in found.unplaced] == ["A"]


def test_a_lift_abraded_too_soon_for_clocks_that_changed_since_is_no_new_breach():
    gaps = clocks(gap_least_min=120, gap_greatest_min=200)
    week = problem(
        pour("A", layers=(Layer(40.0, 3.0), Layer(40.0, 3.0))),
        systems=(system(conditions=(gaps,), abrade_min=10),),
        people=(Person("T1", ((480, 520), (680, 692), (900, 960)), ("mix",)),),
    )
    plan, again = later(week, 700)
    (abraded,) = [t for t in plan.tasks if t.kind == "abrade"]
    slower = replace(gaps, gap_least_min=abraded.start_min - plan.batches[0].pour_end_min + 9)
    again = replace(again, systems=(system(conditions=(slower,), abrade_min=10),))
    found = plan_week(again)
    assert check(again, found) == []
    assert found.unplaced == ()
    early = replace(abraded, start_min=490, end_min=500)
    tasks = tuple(early if t is abraded else t for t in found.tasks)
    assert "lift_gap" in {b.rule for b in check(again, replace(found, tasks=tasks))}


def test_nothing_joins_a_frozen_load_in_an_oven_that_is_closed_by_now():
    bake = Step("bake", "Post-cure", 0, 300, oven_cycle="60C", longest_wait_min=900)
    oven = Place("oven-1", "oven", 4)
    bench = Place("bench-1", "bench", 6)
    week = problem(pour("A", after=(bake,), cure_min=700), places=(bench, oven))
    plan = plan_week(week)
    (task,) = [t for t in plan.tasks if t.step == "bake"]
    frozen = Frozen(plan.lifts, plan.batches, plan.tasks, plan.stands)
    shut = replace(oven, closed=((task.start_min, 9 * DAY),))
    again = replace(
        week, pours=(*week.pours, pour("B", after=(bake,))), frozen=frozen, places=(
            week.places[0], shut
        )
    )  # fmt: skip
    found = plan_week(again)
    assert check(again, found) == []
    assert [u.pour for u in found.unplaced] == ["B"]


def test_how_many_windows_overlap_at_once_is_counted_by_the_minute():
    taken = [(0, 10), (5, 15), (15, 20)]
    assert most_at_once(taken, 0, 20) == 2
    assert most_at_once(taken, 10, 20) == 1
    assert most_at_once(taken, 20, 30) == 0


def test_a_begun_pour_that_grew_goes_on_where_it_stands():
    """Its stand was to end with its only lift, and another begun one came to stand there since."""
    grown = replace(pour("A"), layers=(Layer(30, 2.0), Layer(30, 2.0)))
    week = problem(pour("A"), pour("B", before=(coat(),)))
    week = replace(week, places=tuple(replace(p, capacity=2) for p in week.places))
    plan = plan_week(week)
    first = next(s for s in plan.stands if s.pour == "A")
    lift = next(x for x in plan.lifts if x.pour == "A")
    poured = next(b for b in plan.batches if any(p.pour == "A" for p in b.portions))
    until = max(p.end_min for p in poured.portions)
    coated = next(t for t in plan.tasks if t.pour == "B")
    coated = replace(coated, start_min=until + 300, end_min=until + 320)
    stands = replace(first, end_min=until), Stand("B", first.place, until + 300, until + 400)
    frozen = Frozen(
        tuple(x for x in plan.lifts if x == lift),
        (replace(poured, portions=tuple(p for p in poured.portions if p.pour == "A")),),
        (coated,),
        stands,
    )
    now = until + 500
    again = replace(
        week,
        pours=(replace(grown, layers=(Layer(lift.depth_mm, lift.mass_kg), Layer(30, 2.0))),
               week.pours[1]),
        frozen=frozen, previous=None,
    )  # fmt: skip
    again = set_to(again, freeze_until_min=now)
    found = plan_week(again)
    assert check(again, found) == []
    assert found.unplaced == ()
