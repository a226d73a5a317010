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
from dataclasses import dataclass, field, replace

from planning.core.solver import removal
from planning.core.solver.board import LATE_MINUTE, TOO_LIGHT, UNPLACED, Blocked, Board
from planning.core.solver.case import Case
from planning.core.solver.insertion import Taste, insert
from planning.core.solver.jobs import Job, head_min
from planning.core.solver.ovens import NO_OVEN

FILL = 4e-4
"""Worth of a thousandth of squared filling, in pots: a full and an empty pot beat two halves."""
Order = Callable[[Job], tuple[float, ...]]


@dataclass
class Prices:
    """What the foreman pays, in pots."""

    late_minute: float = LATE_MINUTE
    move: float = 0.0
    move_minutes: float = 0.0
    keep: dict[tuple[int, int], int] = field(default_factory=dict)
    keep_steps: dict[int, dict[str, int]] = field(default_factory=dict)

    @classmethod
    def of(cls, case: Case) -> Prices:
        """Return the prices the settings ask for."""
        settings = case.problem.settings
        rate = settings.late_minutes_per_pot
        return cls(
            late_minute=LATE_MINUTE if not rate else 1 / rate,
            move=settings.move_price if case.problem.previous else 0.0,
            move_minutes=settings.late_minutes_per_move if case.problem.previous else 0.0,
            keep=previous_starts(case),
            keep_steps=previous_steps(case),
        )

    @property
    def move_price(self) -> float:
        """What moving one portion costs in all, in pots."""
        return self.move + self.move_minutes * self.late_minute

    def cost(self, case: Case, board: Board) -> float:
        """Return the cost of a board: unplaced, lateness, pots, moves, then how early it is."""
        unplaced = len(case.jobs) - len(board.placed)
        cost = unplaced * UNPLACED + board.light * TOO_LIGHT + board.late * self.late_minute
        cost += board.pot_count + board.moved * self.move_price
        return cost - board.fill * FILL + board.time * 1e-8

    def taste(self, **more: object) -> Taste:
        taste = Taste(
            late_minute=self.late_minute, keep=self.keep, move_price=self.move_price,
            keep_steps=self.keep_steps,
        )  # fmt: skip
        for name, value in more.items():
            setattr(taste, name, value)
        return taste


def previous_starts(case: Case) -> dict[tuple[int, int], int]:
    """Return when each lift began to be poured in the previous plan, by job and lift."""
    previous = case.problem.previous
    if previous is None:
        return {}
    index_of = {p.id: i for i, p in enumerate(case.problem.pours)}
    starts: dict[tuple[int, int], int] = {}
    for batch in previous.batches:
        for portion in batch.portions:
            if portion.pour in index_of:
                key = (index_of[portion.pour], portion.lift)
                starts[key] = min(portion.start_min, starts.get(key, portion.start_min))
    return starts


def previous_steps(case: Case) -> dict[int, dict[str, int]]:
    """Return when each step was to begin in the previous plan, by job and id of the step."""
    previous = case.problem.previous
    index_of = {p.id: i for i, p in enumerate(case.problem.pours)}
    found: dict[int, dict[str, int]] = {}
    for task in () if previous is None else previous.tasks:
        if task.pour in index_of and task.kind != "abrade":
            found.setdefault(index_of[task.pour], {})[task.step] = task.start_min
    return found


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


def orders(case: Case) -> list[Order]:
    """Return the priority keys of the constructor, the most useful first."""
    latest = case.shop.ahead.latest_start
    return [
        lambda j: (latest(j), _latest_start(j), j.index),
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
    inside = set(wanted)
    found: dict[int, None] = {}
    for index in wanted:
        chain: list[int] = []
        at: int | None = index
        while at is not None and at in inside and at not in found:
            chain.append(at)
            at = case.jobs[at].parent
        for one in reversed(chain):
            found[one] = None
            for child in case.jobs[one].children:
                if case.jobs[child].pour.same_place and child in inside:
                    found[child] = None
    return list(found)


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


def start(
    case: Case,
    board: Board,
    prices: Prices,
    meter: Meter,
    passes: int,
    told: Callable[[Board], None] = lambda _: None,
) -> Board:
    """Return the best of several constructions on top of a board."""
    best: Board | None = None
    for order in orders(case)[:passes]:
        missing = [j for j in case.jobs if j.index not in board.placed]
        wanted = [j.index for j in sorted(missing, key=lambda j: (j.stand is None, *order(j)))]
        found = construct(case, board, wanted, prices.taste(joins=4), meter, case.tight)
        if not case.tight and case.stock.shortage(found) is not None:
            case.tight = True
            found = construct(case, board, wanted, prices.taste(joins=4), meter, True)
        if best is None or prices.cost(case, found) < prices.cost(case, best):
            best = found
            told(best)
        if meter.over() or not wanted:
            break
    assert best is not None
    return best


@dataclass(frozen=True)
class Phase:
    """A part of the search: what lateness costs in it, and how readily it takes what is worse."""

    share: float
    late_minute: float
    hot: float
    cold: float


MOST_OFF = 4
"""Pours chosen to come off at once. Of 3, 4, 6 and 10 measured, 4 left the fewest pots."""
MOVED = 0.4
"""How often, while something has moved, a step of the search begins with that."""
DELAYS = (0.0, 0.3, 0.6)
PHASES = (
    Phase(0.25, 1.0, 5.0, 0.5),
    Phase(0.33, 1.0, 50.0, 2.0),  # weeks in which the cooler one is caught
    Phase(1.0, LATE_MINUTE, 0.5, 0.03),
)


def without_light(case: Case, board: Board) -> Board:
    """Return the board without pots that stayed below their least mass."""
    if not board.light:
        return board
    trial = board.copy()
    while trial.light:
        light = {s.job for pots in trial.pots for p in pots.values() if p.light for s in p.shares}
        removal.remove(case.shop, case.jobs, trial, light)
    return trial


def improve(
    case: Case,
    board: Board,
    prices: Prices,
    meter: Meter,
    seed: int,
    told: Callable[[Board], None] = lambda _: None,
    late_bound: int = 0,
    pots_bound: Callable[[Board], int] = lambda _: 0,
    retimed: Callable[[Board], Board] = lambda b: b,
) -> Board:
    """
    Take pours off and put them back: first for lateness, then for pots with lateness held.

    Parameters
    ----------
    told : callable
        Called with each new best board.
    late_bound : int
        A phase for lateness ends once the best board is no later.
    pots_bound : callable
        Asked once, of the board the last phase begins with; it ends at as few pots.
    retimed : callable
        Makes the best board of the phases for lateness less late, if it can.
    """
    rng = random.Random(seed)
    best = board
    placeable = sum(not j.trouble for j in case.jobs)
    for phase in PHASES:
        for_lateness = phase is not PHASES[-1]
        settled = best.late <= late_bound and not best.moved
        if for_lateness and (prices.late_minute != LATE_MINUTE or settled):
            continue
        budget = int((meter.work - meter.done) * phase.share)
        own = replace(prices, late_minute=phase.late_minute) if for_lateness else prices
        if not for_lateness and prices.late_minute == LATE_MINUTE:
            best = retimed(best)
        fewest = 0 if for_lateness else pots_bound(best)

        enough = _enough(placeable, late_bound, None if for_lateness else fewest)
        best = _anneal(
            case, best, prices, own, meter, budget, phase, rng, told, enough, late_bound
        )
    return best


def _enough(placeable: int, late: int, pots: int | None) -> Callable[[Board], bool]:
    """Return what says of a board that nothing can be better (in lateness, in pots if given)."""

    def enough(found: Board) -> bool:
        if len(found.placed) < placeable or found.late > late or found.moved:
            return False
        return pots is None or found.pot_count <= pots

    return enough


def _anneal(
    case: Case,
    best: Board,
    prices: Prices,
    own: Prices,
    meter: Meter,
    budget: int,
    phase: Phase,
    rng: random.Random,
    told: Callable[[Board], None],
    enough: Callable[[Board], bool],
    late_bound: int,
) -> Board:
    """Search at the prices `own`, cooling down; the best is what is best at `prices`."""
    now = best
    best_cost, now_cost = prices.cost(case, best), own.cost(case, best)
    begun = meter.done
    while meter.done < begun + budget and not meter.over() and not enough(best):
        heat = phase.hot * (phase.cold / phase.hot) ** ((meter.done - begun) / max(1, budget))
        trial = _step(case, now, own, meter, rng, late_bound)
        if trial is None:
            continue
        cost = own.cost(case, trial)
        if cost > now_cost and rng.random() >= _chance(cost - now_cost, heat):
            continue
        if case.stock.shortage(trial) is not None:
            continue
        now, now_cost = trial, cost
        full = prices.cost(case, trial)
        if full < best_cost - 1e-9:
            best, best_cost = trial, full
            told(best)
    return best


def _chance(worse: float, heat: float) -> float:
    return math.exp(-worse / heat) if worse < 30 * heat else 0.0


def _step(
    case: Case, now: Board, prices: Prices, meter: Meter, rng: random.Random, late_bound: int
) -> Board | None:
    """Return the board after one removal and re-insertion, or None where nothing came off."""
    wanted = _choose(case, now, prices, rng, late_bound)
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
        delay=rng.choice(DELAYS),
    )  # fmt: skip
    return construct(case, trial, back, taste, meter, case.tight)


def _choose(
    case: Case, now: Board, prices: Prices, rng: random.Random, late_bound: int
) -> set[int]:
    """Return some pours to take off."""
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
