"""Which quantity to have arrive when: dynamic lot sizing with packs, breaks and shelf life."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shop.core.pack_prices import Pack, PriceTable, price_table

_DUST = 1e-7


@dataclass(frozen=True)
class Demand:
    """
    A quantity needed on `day`, to have arrived by `by`; both count days from today.

    `kept` marks safety stock: it must arrive but no pour uses it up.
    """

    day: int
    by: int
    quantity: float
    kept: bool = False


@dataclass(frozen=True)
class Costs:
    """Money: one order, one unit held for one day. `shelf_days` None means it never expires."""

    order: float
    unit_day: float
    shelf_days: int | None = None
    later_use_per_day: float = 0.0
    """Use expected after the last known need; what is bought for it counts as used in time."""


@dataclass(frozen=True)
class Arrival:
    """An order by the day it arrives."""

    day: int
    quantity: float
    packs: tuple[tuple[str, int], ...]
    goods_cost: float


@dataclass(frozen=True)
class BuyingPlan:
    """Arrivals with their whole cost; `wasted` expires before any known or expected use."""

    arrivals: tuple[Arrival, ...]
    cost: float
    wasted: float
    proven: bool
    """Whether no cheaper plan without waste exists."""


def best_plan(demands: Sequence[Demand], packs: Sequence[Pack], costs: Costs) -> BuyingPlan:
    r"""
    Return the cheapest arrivals that meet every need and let nothing expire.

    Parameters
    ----------
    demands : sequence of Demand
        Needs left after stock and receipts; the order does not matter.
    packs : sequence of Pack
        What can be bought.
    costs : Costs
        Order cost, holding cost, shelf life left on arrival.

    Returns
    -------
    BuyingPlan
        Exact whenever some plan wastes nothing. Where packs or least orders make waste
        unavoidable, the plan is the one that wastes less of two: each order covers a run of needs,
        or the needs of one day. Then `proven` is False.

    Notes
    -----
    The state is the total bought so far, a multiple of the pack grid, so stock is known from it
    and the programme is exact although stock need not run out before an order, unlike the
    textbook case of Wagner and Whitin (1958), which it contains: with packs of one unit, no
    breaks and no shelf life both give the same cost. First expired first out makes shelf life a
    bound on the total: all that is there after an arrival on day a must be used by day
    a + shelf life. An order never needs to arrive before the last day that is in time.
    """
    needs = sorted((d for d in demands if d.quantity > _DUST), key=lambda d: (d.by, d.day))
    if not needs:
        return BuyingPlan((), 0.0, 0.0, True)
    total = math.fsum(d.quantity for d in needs)
    table = price_table(packs, total)
    exact = _without_waste(needs, table, costs)
    if exact is not None:
        return exact
    candidates = (_run_by_run(needs, table, costs), need_by_need(needs, packs, costs))
    return min(candidates, key=lambda plan: (round(plan.wasted, 6), plan.cost))


def _days(needs: Sequence[Demand]) -> list[int]:
    return sorted({d.by for d in needs})


def _limit(needs: Sequence[Demand], day: int, table: PriceTable, costs: Costs) -> int:
    """Return the largest total, in steps, of which nothing expires if its last part comes then."""
    last = max(d.day for d in needs)
    total = math.fsum(d.quantity for d in needs)
    if costs.shelf_days is None:
        return len(table.cost) - 1  # more than is needed, where a price break makes that cheaper
    if day + costs.shelf_days >= last:
        ahead = total + costs.later_use_per_day * (day + costs.shelf_days - last)
        # The rest of the last pack may find a use within its life: the plan can't know, so it is
        # allowed here and named to the buyer.
        return max(table.least_step(total), math.floor(ahead / table.step + _DUST))
    used = math.fsum(d.quantity for d in needs if d.day <= day + costs.shelf_days and not d.kept)
    return math.floor(used / table.step + _DUST)


def _without_waste(needs: Sequence[Demand], table: PriceTable, costs: Costs) -> BuyingPlan | None:
    import numpy as np

    days = _days(needs)
    orderable = [k for k in range(1, len(table.cost)) if math.isfinite(table.cost[k])]
    size = len(table.cost)
    value = np.full(size, np.inf)
    value[0] = 0.0
    chosen = []
    for place, day in enumerate(days):
        least = math.ceil(math.fsum(d.quantity for d in needs if d.by <= day) / table.step - _DUST)
        most = min(_limit(needs, day, table, costs), size - 1)
        after, step_taken = value.copy(), np.zeros(size, dtype=np.int64)
        for k in orderable:
            if k > most:
                break
            tried = value[: most + 1 - k] + (costs.order + float(table.cost[k]))
            better = tried < after[k : most + 1] - 1e-12
            after[k : most + 1][better] = tried[better]
            step_taken[k : most + 1][better] = k
        after[:least] = np.inf
        span = (days[place + 1] if place + 1 < len(days) else max(d.day for d in needs)) - day
        after += np.arange(size) * (table.step * costs.unit_day * max(0, span))
        chosen.append(step_taken)
        value = after
    best = int(np.argmin(value))
    if not math.isfinite(value[best]):
        return None
    bought = []
    for place in range(len(days) - 1, -1, -1):
        k = int(chosen[place][best])
        if k:
            bought.append((days[place], k))
        best -= k
    return _priced(bought[::-1], needs, table, costs, proven=True)


def _priced(
    bought: Sequence[tuple[int, int]],
    needs: Sequence[Demand],
    table: PriceTable,
    costs: Costs,
    *,
    proven: bool,
) -> BuyingPlan:
    arrivals = tuple(
        Arrival(day, k * table.step, table.packs_for(k), float(table.cost[k])) for day, k in bought
    )
    held, wasted = walk(arrivals, needs, costs)
    cost = math.fsum(costs.order + a.goods_cost for a in arrivals) + held
    return BuyingPlan(arrivals, cost, wasted, proven)


def walk(
    arrivals: Sequence[Arrival], needs: Sequence[Demand], costs: Costs
) -> tuple[float, float]:
    """
    Walk a plan first in, first out, and return its holding cost and what expires.

    Parameters
    ----------
    arrivals : sequence of Arrival
        In order of day.
    needs : sequence of Demand
        What it must meet.
    costs : Costs
        As in `best_plan`.

    Returns
    -------
    tuple of (float, float)
        Money for holding stock over night until the last need, and quantity that expires before
        the last need. What is left after it is not counted as expired.

    Raises
    ------
    ValueError
        If a need is not met on its day by usable stock.
    """
    last = max(d.day for d in needs)
    uses: dict[int, float] = {}
    for need in needs:
        if not need.kept:
            uses[need.day] = uses.get(need.day, 0.0) + need.quantity
    shelf: list[list[float]] = []
    coming = sorted(arrivals, key=lambda a: a.day)
    held = wasted = 0.0
    first = min((a.day for a in coming), default=min(uses, default=last))
    for day in range(min(first, min(uses, default=first)), last + 1):
        shelf += [[a.quantity, a.day] for a in coming if a.day == day]
        want = uses.get(day, 0.0)
        while want > _DUST and shelf:
            part = min(want, shelf[0][0])
            shelf[0][0] -= part
            want -= part
            if shelf[0][0] <= _DUST:
                shelf.pop(0)
        if want > 1e-6:
            raise ValueError(f"day {day} is short by {want:g}")
        if costs.shelf_days is not None and day < last:
            wasted += math.fsum(q for q, came in shelf if came + costs.shelf_days <= day)
            shelf = [x for x in shelf if x[1] + costs.shelf_days > day]
        if day < last:
            held += costs.unit_day * math.fsum(q for q, _ in shelf)
    return held, wasted


def _run_by_run(needs: Sequence[Demand], table: PriceTable, costs: Costs) -> BuyingPlan:
    """Cover runs of needs with one least order each, then use up surplus that is still in date."""
    n = len(needs)
    best, start = [0.0] + [math.inf] * n, [0] * (n + 1)
    for first in range(n):
        quantity = 0.0
        for last in range(first, n):
            need = needs[last]
            if costs.shelf_days is not None and need.day > needs[first].by + costs.shelf_days:
                break
            quantity += need.quantity
            k = table.least_step(quantity)
            if k < 0:
                break
            spans = (d.quantity * (d.day - needs[first].by) for d in needs[first : last + 1])
            cost = costs.order + float(table.cost[k]) + costs.unit_day * math.fsum(spans)
            if best[first] + cost < best[last + 1]:
                best[last + 1], start[last + 1] = best[first] + cost, first
    runs, end = [], n
    while end > 0:
        runs.append(needs[start[end] : end])
        end = start[end]
    return _trimmed(runs[::-1], needs, table, costs)


def _trimmed(
    runs: Sequence[Sequence[Demand]], needs: Sequence[Demand], table: PriceTable, costs: Costs
) -> BuyingPlan:
    bought: list[tuple[int, int]] = []
    spare: list[tuple[float, float]] = []
    for run in runs:
        day = run[0].by
        quantity = 0.0
        for need in run:
            left = need.quantity
            usable = [x for x in spare if x[1] >= need.day]
            spare = []
            for have, until in usable:
                part = min(have, left)
                left -= part
                if have - part > _DUST:
                    spare.append((have - part, until))
            quantity += left
        if quantity <= _DUST:
            continue
        k = table.least_step(quantity)
        bought.append((day, k))
        life = math.inf if costs.shelf_days is None else day + costs.shelf_days
        spare.append((k * table.step - quantity, life))
    return _priced(_merged(bought), needs, table, costs, proven=False)


def _merged(bought: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    by_day: dict[int, int] = {}
    for day, k in bought:
        by_day[day] = by_day.get(day, 0) + k
    return sorted(by_day.items())


def need_by_need(demands: Sequence[Demand], packs: Sequence[Pack], costs: Costs) -> BuyingPlan:
    """Buy for each day's needs alone, in the least packs, after surplus that is in date."""
    table = price_table(packs, math.fsum(d.quantity for d in demands))
    arrivals: list[Arrival] = []
    spare: list[tuple[float, float]] = []
    for by in sorted({d.by for d in demands}):
        lacking = 0.0
        for need in (d for d in demands if d.by == by):
            left, kept = need.quantity, []
            for have, until in spare:
                part = min(have, left) if until >= need.day else 0.0
                left -= part
                kept.append((have - part, until))
            spare = [x for x in kept if x[0] > 1e-9]
            lacking += left
        if lacking > 1e-7:
            k = table.least_step(lacking)
            life = math.inf if costs.shelf_days is None else by + costs.shelf_days
            arrivals.append(Arrival(by, k * table.step, table.packs_for(k), float(table.cost[k])))
            spare.append((k * table.step - lacking, life))
    held, wasted = walk(arrivals, demands, costs)
    cost = math.fsum(costs.order + a.goods_cost for a in arrivals) + held
    return BuyingPlan(tuple(arrivals), cost, wasted, False)
