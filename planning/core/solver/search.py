"""
Search: build a plan pour by pour, then take some pours off and put them back better.

Every board that is kept holds every rule, because insertion knows them all. The amount of search
is counted in insertions, never in seconds, so the same problem, seed and limits give the same plan
on any machine; the clock only cuts off what would take too long.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field

from planning.core.solver import removal
from planning.core.solver.board import LATE_MINUTE, TOO_LIGHT, UNPLACED, Board
from planning.core.solver.case import Case
from planning.core.solver.insertion import Blocked, Taste, insert
from planning.core.solver.jobs import Job, head_min

Order = Callable[[Job], tuple[float, ...]]


@dataclass
class Prices:
    """What the foreman pays, in pots."""

    late_minute: float = LATE_MINUTE
    move: float = 0.0
    keep: dict[tuple[int, int], int] = field(default_factory=dict)

    def cost(self, case: Case, board: Board) -> float:
        """Return the cost of a board: unplaced, lateness, pots, moves, then how early it is."""
        unplaced = len(case.jobs) - len(board.placed)
        cost = unplaced * UNPLACED + board.light * TOO_LIGHT + board.late * self.late_minute
        cost += board.pot_count + board.moved * self.move
        return cost + board.time * 1e-8

    def taste(self, **more: object) -> Taste:
        taste = Taste(late_minute=self.late_minute, keep=self.keep, move_price=self.move)
        for name, value in more.items():
            setattr(taste, name, value)
        return taste


class Meter:
    """Counts insertions; `over` when the work is done, the clock has run out or someone stops."""

    def __init__(self, work: int, expired: Callable[[], bool]) -> None:
        self.work = work
        self.done = 0
        self.expired = expired
        self.cut = False

    def over(self) -> bool:
        if self.done >= self.work:
            return True
        if self.expired():
            self.cut = True
        return self.cut


def orders() -> list[Order]:
    """Return the priority keys of the constructor, the most useful first."""
    return [
        lambda j: (_latest_start(j), j.index),
        lambda j: (_due(j), -j.mass_kg, j.index),
        lambda j: (_latest_start(j) // 1440, -_largest_rest(j), j.index),
        lambda j: (-_largest_rest(j), _latest_start(j), j.index),
    ]


def _due(job: Job) -> float:
    return min(due for due, _ in job.dues)


def _latest_start(job: Job) -> float:
    return _due(job) - job.tail_min - head_min(job)


def _largest_rest(job: Job) -> float:
    return max((x.divisions[0][-1] for x in job.lifts if x.divisions[0]), default=0.0)


def in_order(case: Case, wanted: list[int]) -> list[int]:
    """Return pours so that each comes after the one it stands on, else in the order given."""
    inside, done, found = set(wanted), set(), []
    for index in wanted:
        chain: list[int] = []
        at: int | None = index
        while at is not None and at in inside and at not in done:
            chain.append(at)
            at = case.jobs[at].parent
        for one in reversed(chain):
            done.add(one)
            found.append(one)
            if case.jobs[one].keeps_place:
                for child in case.jobs[one].children:
                    if case.jobs[child].pour.same_place and child in inside - done:
                        done.add(child)
                        found.append(child)
    return found


def place(case: Case, board: Board, index: int, taste: Taste, careful: bool = True) -> Board:
    """
    Insert a pour; if `careful`, so that material lasts as well, after a receipt where it must be.

    Raises
    ------
    Blocked
        Names the rule that stops it.
    """
    job = case.jobs[index]
    trial = insert(case.shop, board, job, taste)
    if not careful or job.chemistry.index not in case.stock.scarce_systems:
        return trial
    short = case.stock.shortage(trial)
    for low in case.stock.receipts() if short else ():
        if short is None or low <= job.pour.earliest_min:
            continue
        try:
            trial = insert(case.shop, board, job, taste, low)
        except Blocked:
            break
        short = case.stock.shortage(trial)
    if short is not None:
        raise Blocked(short.rule)
    return trial


def construct(
    case: Case, board: Board, wanted: list[int], taste: Taste, meter: Meter, careful: bool
) -> Board:
    """Insert pours in the given order; those that do not fit stay off."""
    for index in in_order(case, wanted):
        meter.done += 1
        try:
            board = place(case, board, index, taste, careful)
        except Blocked:
            continue
    return board


def start(case: Case, board: Board, prices: Prices, meter: Meter, passes: int) -> Board:
    """Return the best of several constructions on top of a board."""
    best: Board | None = None
    for order in orders()[:passes]:
        wanted = [j.index for j in sorted(case.jobs, key=order) if j.index not in board.placed]
        found = construct(case, board, wanted, prices.taste(joins=4), meter, case.tight)
        if not case.tight and case.stock.shortage(found) is not None:
            case.tight = True
            found = construct(case, board, wanted, prices.taste(joins=4), meter, True)
        if best is None or prices.cost(case, found) < prices.cost(case, best):
            best = found
        if meter.over() or not wanted:
            break
    assert best is not None
    return best


def improve(
    case: Case,
    board: Board,
    prices: Prices,
    meter: Meter,
    seed: int,
    told: Callable[[Board], None] = lambda _: None,
    good_enough: Callable[[Board], bool] = lambda _: False,
) -> Board:
    """
    Take pours off and put them back, keeping what is better and, at first, a little worse.

    Parameters
    ----------
    told : callable
        Called with each new best board.
    good_enough : callable
        The search ends when this says so of the best board: nothing can be better.
    """
    rng = random.Random(seed)
    best = now = board
    best_cost = now_cost = prices.cost(case, board)
    begun, budget = meter.done, max(1, meter.work - meter.done)
    while not meter.over() and not good_enough(best):
        share = (meter.done - begun) / budget
        heat = 1.2 * (1 - share) ** 2 + 0.02
        trial = _step(case, now, prices, meter, rng)
        if trial is None:
            continue
        cost = prices.cost(case, trial)
        if cost < now_cost or (
            cost - now_cost < 50 and rng.random() < _chance(cost - now_cost, heat)
        ):
            if case.stock.shortage(trial) is not None:
                continue
            now, now_cost = trial, cost
            if cost < best_cost - 1e-9:
                best, best_cost = trial, cost
                told(best)
        elif now_cost - best_cost > 3 + 0.03 * best.pot_count:
            now, now_cost = best, best_cost
    return best


def _chance(worse: float, heat: float) -> float:
    return math.exp(-worse / heat) if worse > 0 else 1.0


def _step(
    case: Case, now: Board, prices: Prices, meter: Meter, rng: random.Random
) -> Board | None:
    """Return the board after one removal and re-insertion, or None where nothing came off."""
    wanted = _choose(case, now, rng)
    trial = now.copy()
    gone = removal.remove(case.shop, case.jobs, trial, wanted)
    missing = [i for i in range(len(case.jobs)) if i not in trial.placed and i not in gone]
    back = sorted(gone) + [i for i in missing if not case.jobs[i].trouble]
    if not back or len(gone) > 60:
        meter.done += 1
        return None
    rng.shuffle(back)
    kind = rng.random()
    if kind < 0.25:
        back.sort(key=lambda i: -_largest_rest(case.jobs[i]))
    elif kind < 0.5:
        back.sort(key=lambda i: _latest_start(case.jobs[i]))
    taste = prices.taste(
        joins=rng.choice((3, 6, 10)), noise=rng.choice((0.0, 0.0, 0.2, 0.5)), rng=rng,
        per_day=rng.choice((0.0, 0.03, 0.03)), per_kg=rng.choice((0.0, 0.004, 0.02)),
    )  # fmt: skip
    return construct(case, trial, back, taste, meter, case.tight)


def _choose(case: Case, now: Board, rng: random.Random) -> set[int]:
    """Return some pours to take off."""
    placed = sorted(now.placed)
    if not placed:
        return set()
    late = [i for i in placed if now.placed[i].late]
    count = rng.randint(2, max(3, min(10, len(placed) // 2)))
    if late and rng.random() < 0.5:
        return _around_late(case, now, rng, late, count)
    if rng.random() < 0.75:
        return _pots_in_a_row(case, now, rng, count)
    return set(rng.sample(placed, min(count, len(placed))))


def _around_late(
    case: Case, now: Board, rng: random.Random, late: list[int], count: int
) -> set[int]:
    """Return a late pour, what it stands on, and pours at work just before it is."""
    seed = rng.choice(late)
    found = {seed}
    at = case.jobs[seed].parent
    while at is not None and at in now.placed:
        found.add(at)
        at = case.jobs[at].parent
    target = now.placed[rng.choice(sorted(found))]
    begin = target.stand_start
    near = sorted(
        (abs(p.stand_start - begin) + rng.random() * 600, i)
        for i, p in now.placed.items() if i not in found
    )  # fmt: skip
    return found | {i for _, i in near[:count]}


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
