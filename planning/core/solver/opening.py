"""When to open which can, decided exactly where no simple order of taking serves every pot."""

from __future__ import annotations

from collections.abc import Sequence

from planning.core.solver.cans import DUST_KG, Can, Need, Served, Shelf, by_date, walk

MOST_PAIRS = 6000
"""Pots times cans beyond which no exact answer is tried."""
MOST_NODES = 2000
"""Of the branch and bound, so that the answer does not hang on the clock."""


def decided(cans: Sequence[Can], needs: Sequence[Need], promised: Sequence[Need]) -> Served | None:
    """
    Return a way to serve every pot, or None where there is none (or none was found in time).

    A mixed integer program says at which pot's weighing each sealed can is opened; between its
    opening and the end of its open life a can is then as good as an opened one, and `walk` gives
    the material out by date.
    """
    if len(needs) * len(cans) > MOST_PAIRS or not needs:
        return None
    opened = _openings(cans, needs, promised)
    if opened is None:
        return None
    timed = [
        can._replace(
            since=max(can.since, opened[i]), until=min(can.until, opened[i] + can.life), life=None
        )
        if can.life is not None and i in opened
        else can._replace(kg=0.0) if can.life is not None and not _is_promised(i, promised)
        else can
        for i, can in enumerate(cans)
    ]  # fmt: skip
    served, short = walk(timed, needs, promised, by_date)
    return served if short is None else None


def _is_promised(can: int, promised: Sequence[Need]) -> bool:
    return any(need.can == can for need in promised)


def _openings(
    cans: Sequence[Can], needs: Sequence[Need], promised: Sequence[Need]
) -> dict[int, int] | None:
    """Return when each sealed can is opened, by number, so that every pot can be served."""
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import lil_matrix

    left = Shelf.full(cans, promised).left
    takes, opens = _choices(cans, needs, promised, left)
    if not takes:
        return None
    number = {pair: n for n, pair in enumerate(takes)}
    base = len(takes)
    first = {pair: base + n for n, pair in enumerate(opens)}
    own: dict[int, list[int]] = {}
    for i, at in opens:
        own.setdefault(i, []).append(at)
    rows = len(needs) + len(cans) + len(own) + len(takes)
    matrix = lil_matrix((rows, base + len(opens)))
    low, high = np.full(rows, -np.inf), np.zeros(rows)
    for j, need in enumerate(needs):
        low[j], high[j] = need.kg - DUST_KG, need.kg
    for i in range(len(cans)):
        high[len(needs) + i] = max(0.0, left[i])
    for (i, j), n in number.items():
        matrix[j, n] = matrix[len(needs) + i, n] = 1.0
    row = len(needs) + len(cans)
    for i, starts in own.items():
        for at in starts:
            matrix[row, first[i, at]] = 1.0
        high[row] = 1.0
        row += 1
    for (i, j), n in number.items():
        life = cans[i].life
        if i in own and life is not None:
            matrix[row, n] = 1.0
            for at in own[i]:
                if at <= needs[j].start and needs[j].pour_end <= at + life:
                    matrix[row, first[i, at]] = -needs[j].kg
        row += 1
    whole = np.array([0] * base + [1] * len(opens))
    found = milp(
        np.array([0.0] * base + [1.0] * len(opens)),
        constraints=LinearConstraint(matrix.tocsr(), low, high),
        integrality=whole,
        bounds=Bounds(0, np.array([np.inf] * base + [1.0] * len(opens))),
        options={"node_limit": MOST_NODES, "mip_rel_gap": 1.0},
    )
    if found.x is None:
        return None
    return {i: at for (i, at), n in first.items() if found.x[n] > 0.5}


def _choices(
    cans: Sequence[Can], needs: Sequence[Need], promised: Sequence[Need], left: list[float]
) -> tuple[list[tuple[int, int]], list[tuple[int, int]]]:
    """Return (can, need) pairs that could be, and (can, minute) pairs of opening it."""
    keep: dict[int, int] = {}
    latest: dict[int, int] = {}
    for need in promised:
        keep[need.can] = max(need.pour_end, keep.get(need.can, 0))
        latest[need.can] = min(need.start, latest.get(need.can, need.start))
    takes, opens = [], []
    for i, can in enumerate(cans):
        if left[i] <= DUST_KG:
            continue
        able = [
            j for j, n in enumerate(needs) if can.since <= n.start and n.pour_end <= can.until
        ]  # fmt: skip
        takes += [(i, j) for j in able]
        if can.life is None:
            continue
        starts = sorted({needs[j].start for j in able} | ({latest[i]} if i in latest else set()))
        opens += [
            (i, at)
            for at in starts
            if at <= latest.get(i, at) and (i not in keep or keep[i] <= at + can.life)
        ]
        if i in latest and (i, latest[i]) not in opens:
            opens.append((i, latest[i]))  # a promise that does not hold is a fact all the same
    return takes, opens
