"""The bounds a plan states hold, and are met where the answer is plain."""

import random
from dataclasses import replace

import pytest

from planning.core.problem import Limits, Person
from planning.core.solver import packing
from planning.core.week import Progress, plan_week
from tests.benchmarks.generator import week
from tests.planning.core.small_weeks import clocks, pour, problem, shifts, system
from tests.planning.core.test_tiny_weeks import best_by_trying_all, random_week


@pytest.mark.parametrize("seed", range(14))
def test_no_bound_is_above_what_trying_everything_finds(seed):
    problem = random_week(seed)
    plan = plan_week(replace(problem, limits=Limits(30, 1, work=50)))
    late, pots = best_by_trying_all(problem)
    assert plan.figures.lateness_bound <= late
    if plan.figures.lateness == late:
        assert plan.figures.pots_bound <= pots


def test_a_pour_that_must_be_late_is_known_to_be():
    plan = plan_week(problem(pour("A", due_min=600, weight=2)))
    # poured 08:10 to 08:14, cured ten hours later: minute 1094
    assert plan.figures.lateness == plan.figures.lateness_bound == 2 * (1094 - 600)


def test_a_warmer_morrow_does_not_break_the_lateness_bound():
    kind = system(conditions=(clocks(cure_min=3000), clocks(from_min=1440, cure_min=300)))
    plan = plan_week(problem(pour("A", due_min=0), systems=(kind,)))
    assert plan.figures.lateness_bound <= plan.figures.lateness
    assert plan.figures.lateness_bound == 1440 + 300


def test_pours_that_cannot_meet_are_bound_to_a_pot_each():
    early = pour("A", due_min=480 + 14 + 600)
    late = pour("B", earliest_min=1440)
    plan = plan_week(problem(early, late, people=(Person("T1", shifts(3), ("mix",)),)))
    assert (plan.figures.pots, plan.figures.pots_bound) == (2, 2)


def test_the_packing_bound_is_never_above_a_packing():
    for seed in range(40):
        rng = random.Random(seed)
        sizes = [rng.randint(5, 70) for _ in range(rng.randint(1, 25))]
        found = packing.pack(sizes, 100)
        assert found.bound <= len(found.bins) <= len(packing.decreasing(sizes, 100))
        assert packing.bound_l2(sizes, 100) <= found.bound


def test_progress_is_told_and_a_stop_keeps_the_best_plan():
    told: list[Progress] = []
    problem = replace(week(20, 1), limits=Limits(30, 1, work=100_000))
    plan = plan_week(problem, told.append, stop=lambda: len(told) > 6)
    assert len(told) > 6
    assert told[-1].pots == plan.figures.pots
    assert all(t.lateness_bound <= t.lateness for t in told if not t.unplaced)
    assert told[0].seconds_left >= told[-1].seconds_left
    assert "The clock ended the search" in plan.notes[0]


def test_the_seed_decides_and_the_workers_do_not():
    problem = replace(week(20, 1), limits=Limits(30, 1, work=80, workers=1))
    more = replace(problem, limits=replace(problem.limits, workers=4))
    assert plan_week(problem) == plan_week(more)
