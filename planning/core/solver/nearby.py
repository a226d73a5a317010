"""Which pours to take off at once: those that stand in each other's way, or could share a pot."""

from __future__ import annotations

import random

from planning.core.solver.board import Board
from planning.core.solver.case import Case
from planning.core.solver.ovens import NO_OVEN
from planning.core.solver.prices import Prices

MOST_OFF = 4
"""Pours chosen to come off at once. Of 3, 4, 6 and 10 measured, 4 left the fewest pots."""
MOVED = 0.4
"""How often, while something has moved, a step of the search begins with that."""


def choose(
    case: Case, now: Board, prices: Prices, rng: random.Random, late_bound: int
) -> set[int]:
    """Return some pours to take off: around what moved or is late, or with pots near in time."""
    placed = sorted(now.placed)
    if not placed:
        return set()
    late = [i for i in placed if now.placed[i].late]
    count = rng.randint(2, max(3, min(MOST_OFF, len(placed) // 2)))
    if now.moved and rng.random() < MOVED:
        return _around_moved(case, now, prices, rng, count)
    if late and now.late > late_bound and rng.random() < 0.5:
        return _around_late(case, now, rng, late, count)
    if rng.random() < 0.75:
        return _pots_in_a_row(case, now, rng, count)
    return set(rng.sample(placed, min(count, len(placed))))


def _around_late(
    case: Case, now: Board, rng: random.Random, late: list[int], count: int
) -> set[int]:
    """Return a late pour, perhaps what it stands on, and pours at work about when it is."""
    found = {rng.choices(late, [now.placed[i].late for i in late])[0]}
    at = case.jobs[min(found)].parent
    while at is not None and at in now.placed:
        found.add(at)
        at = case.jobs[at].parent
    if len(found) > 1 and rng.random() < 0.3:
        found = {min(found)}
    moments = [m for i in sorted(found) for m in moments_of(case, now, i)]
    if rng.random() < 0.5:  # make room where it would be if nobody else were there
        moments = [m for i in sorted(found) for m in wanted_moments(case, now, i)]
    moment = rng.choice(moments) - rng.choice((0, 30, 90, 240))
    count += rng.choice((0, 0, 2, 6))  # a crowded hour takes more room than a pot does
    near = sorted(
        (min(abs(m - moment) for m in moments_of(case, now, i)) + rng.random() * 60, i)
        for i in now.placed if i not in found
    )  # fmt: skip
    return found | {i for _, i in near[:count]}


def _around_moved(
    case: Case, now: Board, prices: Prices, rng: random.Random, count: int
) -> set[int]:
    """Return a pour that moved, and pours at work when it was to be poured before."""
    moved = [i for i in sorted(now.placed) if now.placed[i].moved]
    index = rng.choice(moved)
    before = [prices.keep[index, lift] for lift in range(len(case.jobs[index].lifts))
              if (index, lift) in prices.keep]  # fmt: skip
    before += prices.keep_steps.get(index, {}).values()
    moment = rng.choice(before) - rng.choice((0, 15, 60, 240))
    count += rng.choice((0, 0, 2, 6))
    near = sorted(
        (min(abs(m - moment) for m in moments_of(case, now, i)) + rng.random() * 60, i)
        for i in now.placed if i != index
    )  # fmt: skip
    return {index} | {i for _, i in near[:count]}


def moments_of(case: Case, board: Board, index: int) -> list[int]:
    """Return the minutes at which hands start on a pour, or it goes into an oven."""
    placed = board.placed[index]
    pots = board.pots[case.jobs[index].chemistry.index]
    found = [w.start for w in placed.works]
    found += [w.oven_start for w in placed.works if w.oven != NO_OVEN]
    found += [pots[i].start for ids in placed.pots for i in ids]
    return found or [placed.stand_start]


def wanted_moments(case: Case, board: Board, index: int) -> list[int]:
    """Return the minutes at which hands would start on a pour if they were free for it."""
    job = case.jobs[index]
    low = case.shop.earliest[index]
    if job.parent is not None and job.parent in board.placed:
        low = max(low, board.placed[job.parent].finish)
    return case.shop.ahead.moments(job, low)


def _pots_in_a_row(case: Case, now: Board, rng: random.Random, count: int) -> set[int]:
    """Return the pours of a pot with room, and of pots of its system near it in time."""
    systems = [s for s, pots in enumerate(now.pots) if pots]
    if not systems:
        return set()
    weights = [len(now.pots[s]) for s in systems]
    pots = now.pots[rng.choices(systems, weights)[0]]
    ids = sorted(pots)
    some = [pots[i] for i in rng.sample(ids, min(4, len(ids)))]
    seed = min(some, key=lambda p: p.kg)
    spread = rng.choice((300.0, 1500.0, 6000.0))
    near = sorted((abs(p.pour - seed.pour) + rng.random() * spread, p.id) for p in pots.values())
    found: set[int] = {s.job for s in seed.shares}
    for _, id in near:
        if len(found) >= count:
            break
        if pots[id].open and id != seed.id:
            found |= {s.job for s in pots[id].shares}
    return found
