"""
Packing as a flow along arcs, solved exactly: each unit that flows from 0 to the capacity is a bin.

References
----------
.. [1] J. M. Valerio de Carvalho, "Exact solution of bin-packing problems using column generation
   and branch-and-bound", Annals of Operations Research 86 (1999) 629-659. From memory.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

MOST_ARCS = 60_000
"""Of a model that is solved at all."""


def by_arcs(
    sizes: Sequence[int], capacity: int, at_least: int, seconds: float
) -> tuple[list[list[int]] | None, float]:
    """
    Return bins as lists of sizes, and a lower bound of their number.

    None where the model is too large or nothing was found in time; the bound is then 0. A bin may
    hold more of a size than there is.
    """
    demand = Counter(sizes)
    arcs = _arcs(demand, capacity)
    if arcs is None:
        return None, 0.0
    order = sorted(demand, reverse=True)
    rows: list[int] = []
    cols: list[int] = []
    values: list[float] = []
    nodes = sorted({a for a, _, _ in arcs} | {b for _, b, _ in arcs})
    row_of = {n: r for r, n in enumerate(n for n in nodes if n not in (0, capacity))}
    for j, (a, b, size) in enumerate(arcs):
        for node, value in ((a, -1.0), (b, 1.0)):
            if node in row_of:
                rows.append(row_of[node])
                cols.append(j)
                values.append(value)
        if size:
            rows.append(len(row_of) + order.index(size))
            cols.append(j)
            values.append(1.0)
    from scipy.sparse import csr_matrix

    count = len(row_of) + len(order)
    matrix = csr_matrix((values, (rows, cols)), shape=(count, len(arcs)))
    low = np.array([0.0] * len(row_of) + [float(demand[s]) for s in order])
    high = np.array([0.0] * len(row_of) + [np.inf] * len(order))
    cost = np.array([1.0 if a == 0 else 0.0 for a, _, _ in arcs])
    answer = _milp(cost, matrix, low, high, seconds, at_least)
    if answer is None:
        return None, 0.0
    flow = {arc: round(x) for arc, x in zip(arcs, answer.x, strict=True) if x > 0.5}
    return _paths(flow, capacity), answer.mip_dual_bound or 0.0


def _arcs(demand: Counter[int], capacity: int) -> list[tuple[int, int, int]] | None:
    """
    Return arcs (from, to, size) of paths with sizes in decreasing order; 0 is waste.

    None where there would be more than `MOST_ARCS`.
    """
    reached = {0}
    arcs: set[tuple[int, int, int]] = set()
    for size in sorted(demand, reverse=True):
        fresh = set(reached)
        for begin in reached:
            at = begin
            for _ in range(demand[size]):
                if at + size > capacity:
                    break
                arcs.add((at, at + size, size))
                at += size
                fresh.add(at)
            if len(arcs) > MOST_ARCS:
                return None
        reached = fresh
    arcs |= {(n, capacity, 0) for n in reached if 0 < n < capacity}
    return sorted(arcs)


def _paths(flow: dict[tuple[int, int, int], int], capacity: int) -> list[list[int]]:
    """Take a flow apart into bins."""
    out: dict[int, list[tuple[int, int, int]]] = {}
    for arc in flow:
        out.setdefault(arc[0], []).append(arc)
    bins = []
    while any(flow[a] for a in out.get(0, [])):
        at, content = 0, []
        while at != capacity:
            arc = next(a for a in out[at] if flow[a])
            flow[arc] -= 1
            if arc[2]:
                content.append(arc[2])
            at = arc[1]
        bins.append(content)
    return bins


def _milp(
    cost: NDArray[np.float64],
    matrix: Any,
    low: Any,
    high: Any,
    seconds: float,
    at_least: int | None = None,
) -> Any:
    """Minimise over whole numbers; None where nothing was found in time."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    rows = [LinearConstraint(matrix, low, high)]
    if at_least is not None:
        rows.append(LinearConstraint(cost.reshape(1, -1), at_least, np.inf))
    found = milp(
        cost,
        constraints=rows,
        integrality=np.ones(len(cost)),
        bounds=Bounds(0, np.inf),
        options={"time_limit": seconds},
    )
    return found if found.x is not None else None
