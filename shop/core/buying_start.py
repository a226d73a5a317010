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
_SPANS = (1, 4, 7, 11, 14, 21, 28, 35, 42, 56, 70, 91, 119, 182, 365)
"""Days that each order covers, tried one after the other: about a third longer each."""
_ORDERS = (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 14, 16, 18, 20, 24, 28, 32, 40, 50, 64, 80)
"""Numbers of orders of about the same quantity, tried the same way."""
_SHARES = (0.25, 0.4, 0.6, 0.8, 1.0, 1.25, 1.6, 2.5, 4.0)
"""Shares of an order's cost that keeping may cost, tried the same way; 1 is the textbooks'."""


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
        runs = _by_runs(line, table)
        plans = [_arrivals(table, plan) for plan in (_by_totals(line, table), runs)]
        plans.append(_bought(line, table, [day for day, _ in runs]))
        plans += [_bought(line, table, _starts(line, span)) for span in _SPANS]
        plans += [_bought(line, table, starts) for starts in _by_quantity(line)]
        plans += [_bought(line, table, starts) for starts in _by_holding(line, terms)]
        for own in plans:
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


def _arrivals(table: _Table, plan: Sequence[tuple[int, int]]) -> tuple[Arrival, ...]:
    return tuple(Arrival(0, day, tuple(map(int, table.counts[k]))) for day, k in plan)


def _starts(line: Line, span: int) -> list[int]:
    """Return days of need on which to order so that each order covers so many days."""
    found: list[int] = []
    for by in sorted({d.by for d in line.demands}):
        if not found or by >= found[-1] + span:
            found.append(by)
    return found


def _by_quantity(line: Line) -> Iterator[list[int]]:
    """Yield days of need on which to order so that each order covers about the same quantity."""
    wanted = _lacking_by(line)
    sums = [(day, sum(steps for _, steps in wanted[day])) for day in sorted(wanted)]
    total = sum(steps for _, steps in sums)
    for orders in _ORDERS:
        found: list[int] = []
        covered = 0
        for day, steps in sums:
            if not found or covered + steps / 2 > total / orders:
                found.append(day)
                covered = 0
            covered += steps
        yield found


def _by_holding(line: Line, terms: OrderTerms) -> Iterator[list[int]]:
    """Yield days of need on which to order once keeping costs a share of what an order costs."""
    wanted = _lacking_by(line)
    for share in _SHARES:
        found: list[int] = []
        held = 0.0
        for day in sorted(wanted):
            units = sum(steps for _, steps in wanted[day]) / STEPS_PER_UNIT
            held += line.unit_day * units * (day - found[-1]) if found else 0.0
            if not found or held > share * (terms.fixed + terms.freight):
                found.append(day)
                held = 0.0
        yield found


def _bought(line: Line, table: _Table, starts: Sequence[int]) -> tuple[Arrival, ...]:
    """
    Buy on these days of need what is lacking until the next, after what is left over in date.

    A need that an order would not keep for has one on its own day.
    """
    wanted = _lacking_by(line)
    opening, plan, spare = set(starts), [], [(0, 0)]
    days = sorted(wanted)
    place = 0
    while place < len(days):
        came, lacking, first = days[place], 0, place
        while place < len(days) and (place == first or days[place] not in opening):
            needs = wanted[days[place]]
            if not all(line.alive(came, use) for use, _ in needs):
                break
            for use, steps in needs:
                left, rest = steps, []
                for since, have in spare:
                    part = min(left, have) if line.alive(since, use) else 0
                    left -= part
                    rest.append((since, have - part))
                lacking, spare = lacking + left, rest
            place += 1
        if place == first:
            return ()  # a need does not keep even from the day by which it must be there
        if lacking:
            k = min(-(-lacking // table.cell), len(table.cost) - 1)
            k += int(table.cost[k:].argmin())
            plan.append((came, k))
            counts = table.counts[k]
            brought = sum(int(n) * p.steps for n, p in zip(counts, line.packs, strict=True))
            spare.append((came, brought - lacking))
    return _arrivals(table, plan)


def _lacking_by(line: Line) -> dict[int, list[tuple[int, int]]]:
    """Return what is needed as (day of use, steps) by the day by which it must be there."""
    found: dict[int, list[tuple[int, int]]] = {}
    for day, by, steps in line.uses:
        found.setdefault(by, []).append((day, steps))
    if line.kept[1]:
        # Safety stock is bought with the first needs; whether it keeps, the pricing judges.
        found.setdefault(line.kept[0], []).append((line.kept[0], line.kept[1]))
    return found


def need_by_need(lines: Sequence[Line], terms: OrderTerms) -> float | None:
    """
    Return what it costs to order for each day's needs alone, after what is left in date.

    None where that keeps a rule of the supplier or the store no longer.
    """
    total = 0.0
    for line in lines:
        if not line.demands:
            continue
        plan = _bought(line, _table(line, terms), _starts(line, 1))
        try:
            total += float(price_plan([line], terms, plan)[0])
        except NoPlan:
            return None
    return total
