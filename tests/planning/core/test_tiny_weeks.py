"""Tiny weeks whose best answer is known: tried out in full, or plain to see."""

import math
import random
from collections.abc import Iterator
from dataclasses import replace
from itertools import permutations

import pytest

from planning.core.check import check
from planning.core.plan import Problem
from planning.core.problem import Mixer, Person
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


def partitions(items: list[int]) -> Iterator[list[list[int]]]:
    if not items:
        yield []
        return
    first, rest = items[0], items[1:]
    for smaller in partitions(rest):
        for n, group in enumerate(smaller):
            yield [*smaller[:n], [first, *group], *smaller[n + 1 :]]
        yield [[first], *smaller]


def best_by_trying_all(week: Problem) -> tuple[int, int]:
    """
    Return least lateness and then fewest pots of one-lift pours, one person and one mixer.

    Every way to group pours into pots, every order within and between them, each pot as early as
    it can be: with a single person and no longest waits nothing else can be better.
    """
    kind, person, mixer = week.systems[0], week.people[0], week.mixers[0]
    clock = kind.conditions[0]
    best = (10**9, 10**9)
    for groups in partitions(list(range(len(week.pours)))):
        if any(sum(week.pours[i].mass_kg for i in g) > mixer.largest_kg for g in groups):
            continue
        orders = [list(permutations(g)) for g in groups]
        for sequence in permutations(range(len(groups))):
            best = min(best, *_timed(week, [orders[n] for n in sequence], kind, person, clock))
    return best


def _timed(week, orders, kind, person, clock) -> Iterator[tuple[int, int]]:
    states = [(0, 0)]
    for own in orders:
        after = []
        for free, late in states:
            for order in own:
                timed = _pot(week, order, free, kind, person, clock)
                if timed is not None:
                    after.append((timed[0], late + timed[1]))
        states = after
    yield from ((late, len(orders)) for _, late in states)
    yield (10**9, 10**9)


def _pot(week, order, free, kind, person, clock):
    pours = [week.pours[i] for i in order]
    minutes = [max(1, math.ceil(p.mass_kg / kind.pour_rate_kg_min - 1e-9)) for p in pours]
    pouring = sum(minutes) + kind.move_min * (len(pours) - 1)
    whole = kind.weigh_min + kind.mix_min + pouring + kind.clean_min
    if kind.mix_min + pouring > clock.pot_life_min:
        return None
    low = max(free, *(p.earliest_min for p in pours))
    starts = [max(a, low) for a, b in person.shifts if max(a, low) + whole <= b]
    if not starts:
        return None
    at = min(starts) + kind.weigh_min + kind.mix_min
    late = 0
    for p, m in zip(pours, minutes, strict=True):
        at += m
        late += p.weight * max(0, at + clock.cure_min - p.due_min)
        at += kind.move_min
    return min(starts) + whole, late


def random_week(seed: int) -> Problem:
    rng = random.Random(seed)
    pours = [
        pour(
            f"P{n}",
            float(rng.randint(1, 9)),
            due_min=rng.choice((1100, 1130, 1160, DAY + 1100, DAY + 1120)),
            earliest_min=rng.choice((0, 0, 500, 520, 560)),
            weight=rng.choice((1, 1, 2, 5)),
        )
        for n in range(5)
    ]
    return problem(*pours, people=(Person("T1", shifts(2, 480, 570), ("mix",)),))


@pytest.mark.parametrize("seed", range(14))
def test_the_planner_finds_what_trying_everything_finds(seed):
    week = random_week(seed)
    plan = plan_week(week)
    assert check(week, plan) == []
    assert plan.unplaced == ()
    assert (plan.figures.lateness, plan.figures.pots) == best_by_trying_all(week)


def figures(week: Problem) -> tuple[int, int, int]:
    plan = plan_week(week)
    assert check(week, plan) == []
    return plan.figures.unplaced, plan.figures.lateness, plan.figures.pots


def test_two_small_pours_share_a_pot():
    assert figures(problem(pour("A"), pour("B"))) == (0, 0, 1)


def test_three_pours_of_four_kilograms_need_two_pots_of_ten():
    assert figures(problem(pour("A"), pour("B"), pour("C"))) == (0, 0, 2)


def test_a_lift_of_twentythree_kilograms_is_three_pots_wet_on_wet():
    week = problem(
        pour("A", 23.0),
        people=(Person("T1", shifts(), ("mix",), count=3),),
        mixers=(Mixer("M1", 10.0, count=3),),
    )
    assert figures(week) == (0, 0, 3)


def test_a_late_pour_goes_first_even_if_it_costs_a_pot():
    due = 480 + 10 + 4 + 600
    week = problem(pour("A", due_min=due), pour("B", earliest_min=700))
    assert figures(week) == (0, 0, 2)


def test_an_hour_late_for_a_pot_fewer_where_the_shop_says_so():
    due = 480 + 10 + 4 + 600
    week = problem(pour("A", due_min=due), pour("B", earliest_min=500))
    assert figures(week) == (0, 0, 2)
    assert figures(set_to(week, late_minutes_per_pot=60.0)) == (0, 20, 1)


def test_a_b_half_waits_for_cure_and_demould_of_its_a_half():
    a = pour("A", after=(coat(20, 0),))
    b = pour("B", stands_on="A", due_min=DAY + 1000)
    plan = plan_week(problem(a, b, people=(Person("T1", shifts(3), ("mix", "coat")),)))
    stands = {s.pour: s for s in plan.stands}
    # A: poured 08:10 to 08:14, cured at 18:14 after hours, demoulded 08:00 to 08:20 next day
    assert stands["A"].end_min == DAY + 500
    assert plan.batches[1].start_min == DAY + 500
    assert plan.figures.lateness == 500 + 14 + 600 - 1000


def test_two_lifts_keep_the_gap_between_them():
    deep = pour("A", layers=(*pour("x", 3.0).layers, *pour("y", 3.0).layers))
    plan = plan_week(problem(deep))
    ends = [b.pour_end_min for b in plan.batches]
    assert (len(plan.lifts), ends[0], plan.batches[1].pour_start_min) == (2, 493, 613)


def test_the_night_is_not_worked_but_cured_through():
    week = problem(pour("A", earliest_min=955), systems=(system(conditions=(clocks(),)),))
    plan = plan_week(week)
    assert plan.batches[0].start_min == DAY + 480


def test_a_full_bench_makes_the_next_pour_wait():
    week = problem(pour("A"), pour("B"))
    week = replace(week, places=(replace(week.places[0], capacity=1),))
    plan = plan_week(week)
    starts = sorted(s.start_min for s in plan.stands)
    assert starts == [490, DAY + 490]
