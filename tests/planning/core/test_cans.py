"""One shelf for all who ask: no pot lacks what the cans hold, none is weighed from a bad one."""

import itertools
import random
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import linprog

from planning.core.check import check
from planning.core.plan import Frozen
from planning.core.problem import Container, Lot, Person
from planning.core.solver import opening
from planning.core.solver.cans import Can, Need, serve
from planning.core.week import plan_week
from tests.planning.core.small_weeks import DAY, lots, pour, problem, shifts

RESIN = lots()[0]
LONG = 300 * DAY


def hardener(*cans: Container) -> tuple[Lot, ...]:
    return RESIN, Lot("H1", "H", cans)


def two_days(*pours, **other):
    people = (Person("T1", shifts(5), ("mix", "coat")),)
    return problem(*pours, people=people, horizon_min=5 * DAY, **other)


def test_a_sealed_can_that_expires_first_is_used_though_an_opened_one_keeps_longer():
    cans = hardener(
        Container("open can", 1.2, LONG, opened=True), Container("sealed can", 1.2, 2 * DAY)
    )
    week = two_days(
        pour("early", 5.0, may_share=False),
        pour("late", 5.0, earliest_min=3 * DAY, due_min=4 * DAY, may_share=False),
        lots=cans,
    )
    plan = plan_week(week)
    assert check(week, plan) == []
    assert plan.unplaced == ()
    taken = {b.portions[0].pour: b.lots[-1].container for b in plan.batches}
    assert taken == {"early": "sealed can", "late": "open can"}


def test_open_life_runs_from_a_pot_that_is_weighed_before_a_frozen_one():
    cans = hardener(Container("can", 3.0, LONG, open_life_min=2 * DAY))
    week = two_days(
        pour("begun", 5.0, earliest_min=3 * DAY, may_share=False, due_min=4 * DAY), lots=cans
    )
    plan = plan_week(week)
    frozen = Frozen(plan.lifts, plan.batches, plan.tasks, plan.stands)
    again = replace(week, pours=(*week.pours, pour("new", 5.0, may_share=False)), frozen=frozen)
    found = plan_week(again)
    assert check(again, found) == []
    assert found.unplaced == ()
    first = min(found.batches, key=lambda b: b.start_min)
    assert first.portions[0].pour == "new"
    assert first.start_min + 2 * DAY >= plan.batches[0].pour_end_min


def test_a_can_with_a_short_open_life_is_opened_no_sooner_than_its_pots_need_it():
    cans = hardener(
        Container("opened", 1.6, 2 * DAY, opened=True),
        Container("sealed", 1.6, LONG, open_life_min=DAY // 2),
    )
    late = {"earliest_min": 3 * DAY, "due_min": 4 * DAY, "may_share": False}
    week = two_days(
        pour("A", 4.0, may_share=False),
        pour("B", 4.0, may_share=False),
        pour("C", 4.0, **late),
        pour("D", 4.0, **late),
        lots=cans,
    )
    plan = plan_week(week)
    assert check(week, plan) == []
    assert plan.unplaced == ()


def random_shelf(seed: int) -> tuple[list[Can], list[Need], list[Need]]:
    """Return a few cans and pots, some cans sealed with a short open life, some promised."""
    rng = random.Random(seed)
    cans = []
    for i in range(rng.randint(1, 4)):
        opened = rng.random() < 0.4
        life = None if opened or rng.random() < 0.3 else rng.randint(5, 40)
        since, until = rng.choice((0, 0, rng.randint(0, 60))), rng.randint(40, 130)
        cans.append(Can("L", str(i), float(rng.randint(1, 6)), since, until, life, opened))
    needs = []
    for key in range(rng.randint(1, 5)):
        start = rng.randint(0, 100)
        kg = float(rng.randint(1, 4))
        needs.append(Need(key, "H", "hardener", kg, start, start + rng.randint(1, 12)))
    needs.sort(key=lambda n: (n.start, n.key))
    promised = []
    if rng.random() < 0.3:
        can = rng.randrange(len(cans))
        start = max(cans[can].since, rng.randint(10, 60))
        promised = [Need(-1, "H", "hardener", 0.5, start, start + 3, can)]
    return cans, needs, promised


def can_be_served(cans: list[Can], needs: list[Need], promised: list[Need]) -> bool:
    """Try every moment of opening every can, and share out by linear programming."""
    moments = sorted({n.start for n in needs} | {n.start for n in promised})
    choices = [[None] if c.life is None else [None, *moments] for c in cans]
    return any(shared_out(cans, needs, promised, at) for at in itertools.product(*choices))


def shared_out(cans, needs, promised, opened) -> bool:
    def usable(i, n):
        can, at = cans[i], opened[i]
        if n.start < can.since or n.pour_end > can.until:
            return False
        if can.life is None:
            return True
        return at is not None and at <= n.start and n.pour_end <= at + can.life

    left = [c.kg for c in cans]
    for n in promised:
        left[n.can] -= n.kg
        at = opened[n.can]
        if cans[n.can].life is not None and at is not None and at < n.start:
            if not usable(n.can, n):
                return False
        elif at is not None and at > n.start:
            return False
    pairs = [(i, j) for i in range(len(cans)) for j, n in enumerate(needs) if usable(i, n)]
    if not pairs:
        return not needs
    take = np.zeros((len(cans), len(pairs)))
    give = np.zeros((len(needs), len(pairs)))
    for n, (i, j) in enumerate(pairs):
        take[i, n] = give[j, n] = 1.0
    found = linprog(
        np.zeros(len(pairs)), A_ub=take, b_ub=np.maximum(left, 0.0),
        A_eq=give, b_eq=[n.kg for n in needs],
    )  # fmt: skip
    return found.status == 0


@pytest.mark.parametrize("sixty", range(4))
def test_every_pot_is_served_whenever_the_cans_can_serve_them_all(sixty):
    for seed in range(60 * sixty, 60 * sixty + 60):
        cans, needs, promised = random_shelf(seed)
        served, _ = serve(cans, needs, promised, ())
        if served is None:
            served = opening.decided(cans, needs, promised)
        assert (served is not None) == can_be_served(cans, needs, promised), seed
        if served is not None:
            assert_sound(cans, needs, promised, served)


def assert_sound(cans, needs, promised, served):
    """Account for every kilogram and date by hand."""
    uses = [(u.can, u.kg, n) for n in needs for u in served[n.key]]
    uses += [(n.can, n.kg, n) for n in promised]
    for n in needs:
        assert sum(u.kg for u in served[n.key]) == pytest.approx(n.kg, abs=1e-6)
    for i, can in enumerate(cans):
        own = [(kg, n) for c, kg, n in uses if c == i]
        if not any(n.can < 0 for _, n in own):
            continue  # a promise that does not hold by itself is a fact
        assert sum(kg for kg, _ in own) <= can.kg + 1e-6
        first = min(n.start for _, n in own)
        until = can.until if can.life is None else min(can.until, first + can.life)
        new = [n for _, n in own if n.can < 0]
        mixed = (
            own if first < min((n.start for n in promised if n.can == i), default=first) else []
        )
        for n in [*new, *(n for _, n in mixed)]:
            assert can.since <= n.start
            assert n.pour_end <= until
