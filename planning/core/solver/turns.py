"""
Construct again and again, putting in earlier what came out late the time before.

A pour that is late has mostly lost its people to one that could have waited. Which one is hard to
say; that it should have been put in sooner is plain. Method: D. Joslin and D. Clements, "Squeaky
wheel optimization", Journal of Artificial Intelligence Research 10 (1999), 353-373.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping

from planning.core.solver.board import Board
from planning.core.solver.case import Case
from planning.core.solver.prices import Prices
from planning.core.solver.search import Meter, construct, orders

MOST_TURNS = 24
SHARE = 0.3
"""Of all insertions, what may be spent here."""
SOONER_MIN = (60, 240, 960)
"""By how much a late pour is put forward in the order, drawn each time so that rounds differ."""


def take_turns(
    case: Case,
    board: Board,
    prices: Prices,
    meter: Meter,
    least: Mapping[int, int],
    seed: int,
    told: Callable[[Board], None] = lambda _: None,
) -> Board:
    """
    Return the best board of several constructions, each led by what was late in the last.

    Parameters
    ----------
    board : Board
        A plan of the week, to begin from and to beat.
    least : mapping
        Lateness that no plan can spare each pour, by index, in weighted minutes.
    seed : int
        The same seed gives the same boards.
    """
    rng = random.Random(seed)
    order = orders(case)[0]
    sooner: dict[int, int] = {}
    best, best_cost = board, prices.cost(case, board)
    until = meter.done + int((meter.work - meter.done) * SHARE)
    found = board
    for _ in range(MOST_TURNS):
        late = _late(case, found, least)
        if not late or meter.done + len(case.jobs) > until or meter.over():
            break
        for index in late:
            by = rng.choice(SOONER_MIN)
            at: int | None = index
            while at is not None:
                sooner[at] = sooner.get(at, 0) + by
                at = case.jobs[at].parent
        keys = {j.index: (order(j)[0] - sooner.get(j.index, 0), order(j)) for j in case.jobs}
        wanted = sorted(keys, key=lambda i: (case.jobs[i].stand is None, keys[i]))
        prefer = prices.prefer(joins=4)
        found = construct(case, case.empty, wanted, prefer, meter, case.tight)
        cost = prices.cost(case, found)
        if cost < best_cost - 1e-9 and case.stock.shortage(found) is None:
            best, best_cost = found, cost
            told(best)
    return best


def _late(case: Case, board: Board, least: Mapping[int, int]) -> list[int]:
    """Return the pours that are later than they need be, or have no place."""
    return [
        j.index
        for j in case.jobs
        if not j.trouble
        and (j.index not in board.placed or board.placed[j.index].late > least.get(j.index, 0))
    ]
