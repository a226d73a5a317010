"""Seven textbook rules of lot sizing, bought in packs: what a plan must not exceed."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from shop.core.buying_plan import Arrival, Line, NoPlan, OrderTerms, price_plan
from shop.core.buying_start import _table
from shop.core.packs import STEPS_PER_UNIT

Runs = Callable[[Sequence[float], Sequence[float], float, float], list[int]]
"""Takes days, quantities, cost of an order and of holding one unit a day; returns where each
order's needs begin. All rules are standard, from memory."""


def lot_for_lot(days, needs, order, hold):
    return list(range(len(days)))


def _steady(days, needs, order, hold):
    rate = sum(needs) / max(1, days[-1] - days[0])
    return math.sqrt(2 * order * rate / hold) if hold > 0 else math.inf, rate


def economic_order_quantity(days, needs, order, hold):
    quantity, _ = _steady(days, needs, order, hold)
    starts, covered = [0], 0.0
    for n, need in enumerate(needs):
        if covered > 0 and covered + need / 2 > quantity:
            starts.append(n)
            covered = 0.0
        covered += need
    return starts


def period_order_quantity(days, needs, order, hold):
    quantity, rate = _steady(days, needs, order, hold)
    starts = [0]
    for n, day in enumerate(days):
        if day - days[starts[-1]] >= max(1.0, quantity / rate):
            starts.append(n)
    return starts


def _greedy(days, needs, order, hold, goes_on):
    starts, held, units = [0], 0.0, needs[0]
    for n in range(1, len(days)):
        first = starts[-1]
        more = hold * needs[n] * (days[n] - days[first])
        found = (order + held) / units, (order + held + more) / (units + needs[n])
        spans = days[n - 1] - days[first] + 1, days[n] - days[first] + 1
        if goes_on(order, held, held + more, found, spans):
            held, units = held + more, units + needs[n]
        else:
            starts.append(n)
            held, units = 0.0, needs[n]
    return starts


def least_unit_cost(days, needs, order, hold):
    return _greedy(days, needs, order, hold, lambda k, a, b, unit, t: unit[1] <= unit[0])


def least_total_cost(days, needs, order, hold):
    return _greedy(days, needs, order, hold, lambda k, a, b, unit, t: abs(k - b) <= abs(k - a))


def part_period_balancing(days, needs, order, hold):
    return _greedy(days, needs, order, hold, lambda k, a, b, unit, t: b <= k)


def silver_meal(days, needs, order, hold):
    return _greedy(
        days, needs, order, hold, lambda k, a, b, unit, t: (k + b) / t[1] <= (k + a) / t[0]
    )


RULES: tuple[Runs, ...] = (
    lot_for_lot, economic_order_quantity, period_order_quantity, least_unit_cost,
    least_total_cost, part_period_balancing, silver_meal,
)  # fmt: skip


def cost_by(rule: Runs, line: Line, terms: OrderTerms) -> float | None:
    """
    Return what a rule's plan costs, filled by the cheapest packs; None if it breaks a limit.

    A run of needs is cut where goods would not keep, and what packs leave over is used.
    """
    sums: dict[int, list[tuple[int, int]]] = {}
    for day, by, steps in line.uses:
        sums.setdefault(by, []).append((day, steps))
    days = sorted(sums)
    needs = [sum(steps for _, steps in sums[day]) / STEPS_PER_UNIT for day in days]
    starts = set(rule(days, needs, terms.fixed + terms.freight, line.unit_day))
    table, plan, spare = _table(line, terms), [], 0
    n = 0
    while n < len(days):
        day, end, wanted = days[n], n, 0
        while end < len(days) and (end == n or end not in starts):
            if not all(line.alive(day, use) for use, _ in sums[days[end]]):
                break
            wanted += sum(steps for _, steps in sums[days[end]])
            end += 1
        if line.shelf_days is not None:
            spare = 0  # what is left over may not keep; the rule does not count on it
        lacking = wanted - spare
        spare = max(0, -lacking)
        if lacking > 0:
            k = min(-(-lacking // table.cell), len(table.cost) - 1)
            k += int(table.cost[k:].argmin())
            plan.append(Arrival(0, day, tuple(map(int, table.counts[k]))))
            brought = sum(c * p.steps for c, p in zip(table.counts[k], line.packs, strict=True))
            spare = int(brought) - lacking
        if end == n:
            return None
        n = end
    try:
        return float(price_plan([line], terms, plan)[0])
    except NoPlan:
        return None
