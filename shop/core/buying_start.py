"""A good plan at once, for the program to start from: dynamic programmes on a coarse grid."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from shop.core.buying_plan import Arrival, Line, NoPlan, OrderTerms, price_plan
from shop.core.packs import STEPS_PER_UNIT

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_CELLS = 400
"""Cells of the grid, chosen here: finer ones take longer and start little better."""


@dataclass(frozen=True)
class _Table:
    """Least money of one order by the cells it brings, and its packs; infinite where none does."""

    cell: int
    cost: NDArray[np.float64]
    counts: NDArray[np.int64]


def quick_plan(lines: tuple[Line, ...], terms: OrderTerms) -> tuple[Arrival, ...] | None:
    """
    Return arrivals that keep all rules and are not far from the cheapest; None if none is found.

    Each line is planned alone, as if it paid its orders alone, on a grid on which packs count for
    a little less than they hold, so what is planned is always enough.
    """
    found: list[Arrival] = []
    for place, line in enumerate(lines):
        if not line.demands:
            continue
        table = _table(line, terms)
        best: tuple[float, tuple[Arrival, ...]] | None = None
        for plan in (_by_totals(line, table), _by_runs(line, table)):
            own = tuple(Arrival(0, day, tuple(map(int, table.counts[k]))) for day, k in plan)
            try:
                cost, _ = price_plan([line], terms, own)
            except NoPlan:
                continue
            if best is None or cost < best[0]:
                best = float(cost), own
        if best is None:
            return None
        found += [Arrival(place, a.day, a.counts) for a in best[1]]
    return tuple(sorted(found, key=lambda a: (a.day, a.line)))


def _table(line: Line, terms: OrderTerms) -> _Table:
    import numpy as np

    total = sum(q for _, _, q in line.uses) + line.kept[1]
    largest = max(p.steps * max(t[0] for t in p.tiers) for p in line.packs)
    cheapest = min(t[2] / p.steps for p in line.packs for t in p.tiers)
    worth = terms.least_value / cheapest if cheapest > 0 else 0.0
    reach = max(total + largest, 1.2 * worth)
    cell = max(math.gcd(*(p.steps for p in line.packs)), math.ceil(reach / _CELLS))
    size = math.ceil(reach / cell) + 1
    cost, counts = np.full(size, np.inf), np.zeros((size, len(line.packs)), dtype=np.int64)
    cost[0] = 0.0
    for place, pack in enumerate(line.packs):
        before = cost.copy(), counts.copy()
        for n in _counts(pack.steps, cell, size):
            price = pack.cost(n)
            shift = n * pack.steps // cell
            if price is None or shift >= size:
                continue
            tried = before[0][: size - shift] + float(price)
            better = tried < cost[shift:] - 1e-9
            cost[shift:][better] = tried[better]
            rows = before[1][: size - shift][better].copy()
            rows[:, place] += n
            counts[shift:][better] = rows
    small = cost < terms.least_value - 1e-9
    order = np.full(size, terms.fixed + terms.freight)
    if terms.freight_free_from is not None:
        order[cost >= terms.freight_free_from] -= terms.freight
    cost = np.where(small, np.inf, cost + order)
    cost[0] = np.inf
    return _Table(cell, cost, counts)


def _counts(steps: int, cell: int, size: int) -> Iterator[int]:
    """Yield counts of a pack worth trying: each one, or where packs are tiny, some of them."""
    most = size * cell // steps
    n = 1
    while n <= most:
        yield n
        n += 1 if steps >= cell // 4 else max(1, n // 12)


def _by_totals(line: Line, table: _Table) -> list[tuple[int, int]]:
    """Choose totals bought by each day; nothing may expire before the last need."""
    import numpy as np

    size, cell = len(table.cost), table.cell
    days = sorted({by for _, by, _ in line.uses} | ({line.kept[0]} if line.kept[1] else set()))
    value = np.full(size, np.inf)
    value[0] = 0.0
    index = np.arange(size)
    back = index[:, None] - index[None, :]  # total after, less the order, is the total before
    taken = []
    for day in days:
        held = index * (cell / STEPS_PER_UNIT * line.unit_day * (line.last_day - day))
        whole = np.where(back >= 0, value[np.maximum(back, 0)], np.inf) + (table.cost + held)
        order = whole.argmin(axis=1)
        bought = whole[index, order]
        keep = value <= bought
        after = np.where(keep, value, bought)
        taken.append(np.where(keep, 0, order))
        least = sum(q for _, by, q in line.uses if by <= day)
        least += line.kept[1] if line.kept[1] and line.kept[0] <= day else 0
        after[index * cell < least] = np.inf
        if line.shelf_days is not None and day + line.shelf_days < line.last_day:
            most = sum(q for u, _, q in line.uses if u <= day + line.shelf_days)
            after[index * cell > most] = np.inf
        value = after
    best = int(np.argmin(value))
    if not math.isfinite(value[best]):
        return []
    plan = []
    for day, order in zip(reversed(days), reversed(taken), strict=True):
        k = int(order[best])
        if k:
            plan.append((day, k))
        best -= k
    return plan[::-1]


def _by_runs(line: Line, table: _Table) -> list[tuple[int, int]]:
    """Cover runs of needs with one order each; what is left of an order is not counted on."""
    import numpy as np

    uses, n, cell = line.uses, len(line.uses), table.cell
    cheapest = np.minimum.accumulate(table.cost[::-1])[::-1]
    best, came = [0.0] + [math.inf] * n, [(0, 0)] * (n + 1)
    kept = line.kept[1]
    for first in range(n):
        by = uses[first][1]
        steps = kept
        for last in range(first, n):
            if not line.alive(by, uses[last][0]):
                break
            steps += uses[last][2]
            k = min(math.ceil(steps / cell), len(table.cost) - 1)
            held = line.unit_day * steps / STEPS_PER_UNIT * (line.last_day - by)
            cost = best[first] + float(cheapest[k]) + held
            if cost < best[last + 1]:
                best[last + 1], came[last + 1] = cost, (first, k)
    plan, end = [], n
    while end > 0 and math.isfinite(best[end]):
        first, k = came[end]
        order = k + int(np.argmin(table.cost[k:]))
        plan.append((uses[first][1], order))
        end = first
    return plan[::-1]


def need_by_need(lines: Sequence[Line], terms: OrderTerms) -> float | None:
    """
    Return what it costs to order for each day's needs alone, after what is left in date.

    None where that keeps a rule of the supplier or the store no longer.
    """
    total = 0.0
    for line in lines:
        if not line.demands:
            continue
        table = _table(line, terms)
        plan, spare = [], [(0, 0)]
        for by in sorted({d.by for d in line.demands}):
            lacking = line.kept[1] if line.kept[1] and line.kept[0] == by else 0
            for day, own, steps in line.uses:
                if own != by:
                    continue
                left, rest = steps, []
                for came, have in spare:
                    part = min(left, have) if line.alive(came, day) else 0
                    left -= part
                    rest.append((came, have - part))
                lacking, spare = lacking + left, rest
            if lacking:
                k = min(-(-lacking // table.cell), len(table.cost) - 1)
                k += int(table.cost[k:].argmin())
                counts = tuple(map(int, table.counts[k]))
                plan.append(Arrival(0, by, counts))
                brought = sum(n * p.steps for n, p in zip(counts, line.packs, strict=True))
                spare.append((by, brought - lacking))
        try:
            total += float(price_plan([line], terms, plan)[0])
        except NoPlan:
            return None
    return total
