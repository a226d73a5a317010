"""Dynamic lot sizing in its textbook form: the exact least-cost plan and the usual rules."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class OrderPlan:
    """Quantity ordered in each period and what the plan costs."""

    orders: tuple[float, ...]
    cost: float


def plan_cost(
    orders: Sequence[float],
    demand: Sequence[float],
    fixed_cost: float,
    holding_cost: float,
    unit_cost: Sequence[float] | float = 0.0,
) -> float:
    """
    Return what a plan costs: orders, goods, and stock at the end of each period.

    Parameters
    ----------
    orders, demand : sequence of float, shape (n,)
        Units of each period; an order arrives before the demand of its period.
    fixed_cost : float
        Cost of one order, money.
    holding_cost : float
        Cost of one unit in stock at the end of a period, money.
    unit_cost : float or sequence of float, shape (n,)
        Price of one unit.

    Raises
    ------
    ValueError
        If demand is not met in some period.
    """
    prices = _prices(unit_cost, len(demand))
    stock = cost = 0.0
    for t, (order, need, price) in enumerate(zip(orders, demand, prices, strict=True), 1):
        stock += order - need
        if stock < -1e-9 * max(1.0, need):
            raise ValueError(f"period {t} is short by {-stock:g}")
        cost += (fixed_cost if order > 0 else 0.0) + price * order + holding_cost * stock
    return cost


def _prices(unit_cost: Sequence[float] | float, n: int) -> Sequence[float]:
    return [float(unit_cost)] * n if isinstance(unit_cost, (int, float)) else unit_cost


def wagner_whitin(
    demand: Sequence[float],
    fixed_cost: float,
    holding_cost: float,
    unit_cost: Sequence[float] | float = 0.0,
) -> OrderPlan:
    """
    Return the least-cost plan where any quantity may be ordered and nothing expires.

    Parameters
    ----------
    demand, fixed_cost, holding_cost, unit_cost
        As in `plan_cost`.

    Returns
    -------
    OrderPlan
        Exact: some best plan orders only when stock is empty, and each order covers whole
        periods, so the choice is a shortest path over periods [1]_.

    References
    ----------
    .. [1] Wagner & Whitin, Management Science 5 (1958) 89-96. Basis: from memory; checked on
       Snyder & Shen 2019 examples and by full enumeration in the tests.
    """
    if any(d < 0 for d in demand):
        raise ValueError(f"demand {list(demand)} must be 0 or more")
    n = len(demand)
    prices = _prices(unit_cost, n)
    best, start = [0.0] + [math.inf] * n, [0] * (n + 1)
    for first in range(n):
        quantity = held = 0.0
        for last in range(first, n):
            quantity += demand[last]
            held += holding_cost * (last - first) * demand[last]
            order = fixed_cost + prices[first] * quantity + held if quantity > 0 else 0.0
            if best[first] + order < best[last + 1]:
                best[last + 1], start[last + 1] = best[first] + order, first
    orders = [0.0] * n
    end = n
    while end > 0:
        orders[start[end]] = math.fsum(demand[start[end] : end])
        end = start[end]
    return OrderPlan(tuple(orders), best[n])


def lot_for_lot(demand: Sequence[float]) -> tuple[float, ...]:
    """Order each period what it needs."""
    return tuple(float(d) for d in demand)


def fixed_period(demand: Sequence[float], periods: int) -> tuple[float, ...]:
    """Order what the next `periods` periods need, beginning when stock runs out."""
    if periods < 1:
        raise ValueError(f"periods is {periods}; it must be 1 or more")
    orders = [0.0] * len(demand)
    t = 0
    while t < len(demand):
        if demand[t] <= 0:
            t += 1
            continue
        orders[t] = math.fsum(demand[t : t + periods])
        t += periods
    return tuple(orders)


def fixed_quantity(demand: Sequence[float], quantity: float) -> tuple[float, ...]:
    """Order `quantity`, or the period's need if larger, when stock does not reach."""
    orders, stock = [], 0.0
    for need in demand:
        short = need - stock
        order = max(quantity, short) if short > 1e-9 else 0.0
        orders.append(order)
        stock += order - need
    return tuple(orders)
