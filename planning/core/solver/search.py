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
from dataclasses import dataclass, replace

from planning.core.solver import removal
from planning.core.solver.board import LATE_MINUTE, Blocked, Board
from planning.core.solver.case import Case
from planning.core.solver.insertion import insert
from planning.core.solver.job import Job, head_min
from planning.core.solver.nearby import choose
from planning.core.solver.preferences import Preferences
from planning.core.solver.prices import Prices
from planning.core.solver.wording import material_name

Order = Callable[[Job], tuple[float, ...]]


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


def place(
    case: Case, board: Board, index: int, prefer: Preferences, careful: bool = True
) -> Board:
    """
    Insert a pour; if `careful`, so that material lasts as well, later where it must be.

    Raises
    ------
    Blocked
        Names the rule that stops it.
    """
    job = case.jobs[index]
    trial = insert(case.shop, board, job, prefer)
    if not careful or job.chemistry.index not in case.stock.scarce_systems:
        return trial
    short = case.stock.shortage(trial)
    for low in case.stock.moments(trial, short, _poured_from(trial, job)) if short else ():
        if short is None:
            break
        try:
            trial = insert(case.shop, board, job, prefer, weigh_from=low)
        except Blocked:
            break
        short = case.stock.shortage(trial)
    if short is not None:
        raise Blocked(short.rule)
    return trial


def _poured_from(board: Board, job: Job) -> int:
    """Return when the first pot of a pour is weighed, those that are frozen apart."""
    pots = board.pots[job.chemistry.index]
    ids = (id for lift in board.placed[job.index].pots for id in lift)
    return min((pots[id].start for id in ids), default=0)


def construct(
    case: Case, board: Board, wanted: list[int], prefer: Preferences, meter: Meter, careful: bool
) -> Board:
    """Insert pours in the given order; those that do not fit stay off."""
    for index in in_order(case, wanted):
        meter.done += 1
        try:
            board = place(case, board, index, prefer, careful)
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
        found = construct(case, board, wanted, prices.prefer(joins=4), meter, case.tight)
        if not case.tight and case.stock.shortage(found) is not None:
            case.tight = True
            found = construct(case, board, wanted, prices.prefer(joins=4), meter, True)
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


DELAYS = (0.0, 0.3, 0.6)
LATENESS = (
    Phase(0.25, 1.0, 5.0, 0.5),
    Phase(0.33, 1.0, 50.0, 2.0),  # weeks in which the cooler one is caught
)
POTS = Phase(1.0, LATE_MINUTE, 0.3, 0.02)


def without_light(case: Case, board: Board) -> Board:
    """Return the board without pots that stayed below their least mass."""
    if not board.light:
        return board
    trial = board.copy()
    while trial.light:
        light = {s.job for pots in trial.pots for p in pots.values() if p.light for s in p.shares}
        removal.remove(case.shop, case.jobs, trial, light)
    take_off_short(case, trial)
    return trial


def take_off_short(case: Case, board: Board) -> None:
    """Take off what the material does not serve where it stands, and note why."""
    short = case.stock.shortage(board)
    while short is not None:
        case.tight = True
        pot = next(p[short.need.key] for p in board.pots if short.need.key in p)
        gone = removal.remove(case.shop, case.jobs, board, {s.job for s in pot.shares})
        for index in sorted(gone):
            name = material_name(case.problem, short.need.material)
            words = f"there is no {name} for it at that time"
            case.came_off.setdefault(case.jobs[index].pour.id, words)
        short = case.stock.shortage(board)


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
    for phase in LATENESS:
        settled = best.late <= late_bound and not best.moved
        if prices.late_minute != LATE_MINUTE or settled:
            break
        budget = int((meter.work - meter.done) * phase.share)
        own = replace(prices, late_minute=phase.late_minute)
        enough = _enough(placeable, late_bound, None)
        best = _anneal(
            case, best, prices, own, meter, budget, phase, rng, told, enough, late_bound
        )
    if prices.late_minute == LATE_MINUTE:
        best = retimed(best)
    enough = _enough(placeable, late_bound, pots_bound(best))
    rest = meter.work - meter.done
    return _anneal(case, best, prices, prices, meter, rest, POTS, rng, told, enough, late_bound)


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
    wanted = choose(case, now, prices, rng, late_bound)
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
    prefer = prices.prefer(
        joins=rng.choice((3, 6, 10)), noise=rng.choice((0.0, 0.0, 0.2, 0.5)), rng=rng,
        per_day=rng.choice((0.0, 0.03, 0.03)), per_kg=rng.choice((0.0, 0.004, 0.02)),
        delay=rng.choice(DELAYS),
    )  # fmt: skip
    return construct(case, trial, back, prefer, meter, case.tight)
