"""Hundreds of random weeks, planned and planned again: the check finds nothing in any of them."""

import random
from dataclasses import replace

import pytest

from planning.core.check import check
from planning.core.plan import Problem
from planning.core.problem import Limits, Place
from planning.core.week import plan_week
from planning.core.whatif import warmer_shop, without_person
from tests.benchmarks.generator import week

DAY = 1440
WEEKS = 200


def random_week(seed: int) -> Problem:
    """Return a small week under settings drawn at random."""
    rng = random.Random(seed)
    problem = week(
        rng.randint(5, 14),
        seed,
        people=rng.randint(1, 4),
        allow_sharing=rng.random() < 0.9,
        most_tools_per_batch=rng.randint(1, 4),
        pot_life_factor=rng.choice((0.6, 0.9, 1.0)),
        equal_batches=rng.random() < 0.3,
        extra_lifts=rng.choice((0, 0, 1)),
        overdue_lift=rng.choice(("abrade", "forbid")),
        last_pour_clock_min=rng.choice((None, 960, 1080)),
        coat_to_pour_most_min=rng.choice((None, 240, 1440)),
        lot_rule=rng.choice(("one_pair", "first_expired")),
        late_minutes_per_pot=rng.choice((None, None, 30.0)),
    )
    systems = tuple(
        replace(
            s,
            hands=rng.choice((1, 1, 2)),
            least_batch_kg=rng.choice((0.0, 0.0, 1.5)),
        )
        for s in problem.systems
    )
    lots = problem.lots
    if rng.random() < 0.4:
        lots = tuple(replace(x, containers=x.containers[: rng.randint(0, 3)]) for x in lots)
    return replace(
        problem, systems=systems, lots=lots, limits=Limits(1.0, seed, work=rng.choice((0, 20, 60)))
    )


def slipped(problem: Problem, seed: int) -> Problem:
    """Return the week a day or two later, with something gone wrong."""
    rng = random.Random(-seed)
    now = rng.choice((0, 1, 2)) * DAY + rng.choice((0, 500, 700))
    problem = without_person(problem, "T1", now, now + DAY) if rng.random() < 0.5 else problem
    problem = warmer_shop(problem, rng.choice((0.9, 1.0, 1.1)))
    if rng.random() < 0.5:
        rush = replace(problem.pours[0], id="RUSH", earliest_min=now, stands_on=None,
                       same_place=False, weight=3)  # fmt: skip
        problem = replace(problem, pours=(*problem.pours, rush))
    return replace(problem, settings=replace(problem.settings, freeze_until_min=now))


@pytest.mark.parametrize("ten", range(WEEKS // 10))
def test_no_plan_of_a_random_week_breaks_a_rule(ten):
    for seed in range(10 * ten, 10 * ten + 10):
        problem = random_week(seed)
        plan = plan_week(problem)
        assert check(problem, plan) == [], seed
        again = replace(slipped(problem, seed), previous=plan)
        assert check(again, plan_week(again)) == [], seed


@pytest.mark.parametrize("ten", range(3))
def test_a_week_short_of_places_loses_no_pour_when_a_person_stays_away(ten):
    for seed in range(14 * ten, 14 * ten + 14):
        problem = week(12, seed, people=3)
        few = (Place("bench", "bench", capacity=4), Place("floor", "floor", capacity=2))
        problem = replace(
            problem,
            places=(*few, *(p for p in problem.places if p.kind == "oven")),
            limits=Limits(60, seed, work=60),
        )
        plan = plan_week(problem)
        again = without_person(problem, "T1", DAY, 3 * DAY)
        settings = replace(again.settings, freeze_until_min=DAY)
        again = replace(again, previous=plan, settings=settings)
        found = plan_week(again)
        assert check(again, found) == [], seed
        assert len(found.unplaced) <= len(plan.unplaced), seed
