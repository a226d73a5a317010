"""How much to order at a time under steady demand: the economic order quantity and its kin."""

from __future__ import annotations

import math
from collections.abc import Sequence


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not value > 0:
            raise ValueError(f"{name} is {value}; it must be above 0")


def yearly_cost(quantity: float, fixed_cost: float, holding_cost: float, demand: float) -> float:
    """
    Return ordering plus holding cost per unit of time of ordering `quantity` at a time.

    Parameters
    ----------
    quantity : float
        Order quantity, units.
    fixed_cost : float
        Cost of one order, money.
    holding_cost : float
        Cost of holding one unit for one unit of time, money.
    demand : float
        Units per unit of time.
    """
    return fixed_cost * demand / quantity + holding_cost * quantity / 2.0


def economic_order(fixed_cost: float, holding_cost: float, demand: float) -> tuple[float, float]:
    r"""
    Return the economic order quantity and its cost per unit of time.

    Parameters
    ----------
    fixed_cost, holding_cost, demand : float
        As in `yearly_cost`; all above 0.

    Returns
    -------
    tuple of (float, float)
        Units per order, and money per unit of time.

    Notes
    -----
    :math:`Q = \sqrt{2 K \lambda / h}` [1]_.

    References
    ----------
    .. [1] Snyder & Shen, *Fundamentals of Supply Chain Theory*, 2nd ed., 2019, section 3.2.
       Basis: results recomputed; book not opened.
    """
    _positive(fixed_cost=fixed_cost, holding_cost=holding_cost, demand=demand)
    quantity = math.sqrt(2.0 * fixed_cost * demand / holding_cost)
    return quantity, yearly_cost(quantity, fixed_cost, holding_cost, demand)


def economic_order_in_date(
    fixed_cost: float, holding_cost: float, demand: float, shelf_life: float
) -> tuple[float, float]:
    """
    Return the economic order that is used up before it expires, and its cost.

    Parameters
    ----------
    fixed_cost, holding_cost, demand : float
        As in `yearly_cost`.
    shelf_life : float
        Usable time left on arrival, in the unit of time of `demand`.

    Notes
    -----
    The cost is convex in the quantity, so the bound ``demand * shelf_life`` is taken where the
    unbounded order is larger. Standard textbook rule (Silver, Pyke & Thomas), from memory.
    """
    _positive(shelf_life=shelf_life)
    free, _ = economic_order(fixed_cost, holding_cost, demand)
    quantity = min(free, demand * shelf_life)
    return quantity, yearly_cost(quantity, fixed_cost, holding_cost, demand)


def economic_order_with_backorders(
    fixed_cost: float, holding_cost: float, stockout_cost: float, demand: float
) -> tuple[float, float, float]:
    """
    Return order quantity, share of it backordered, and cost, where customers wait at a price.

    Parameters
    ----------
    fixed_cost, holding_cost, demand : float
        As in `yearly_cost`.
    stockout_cost : float
        Cost of one unit waiting for one unit of time, money.

    References
    ----------
    Snyder & Shen 2019, section 3.5. Basis: results recomputed; book not opened.
    """
    _positive(stockout_cost=stockout_cost)
    plain, plain_cost = economic_order(fixed_cost, holding_cost, demand)
    both = holding_cost + stockout_cost
    quantity = plain * math.sqrt(both / stockout_cost)
    return quantity, holding_cost / both, plain_cost * math.sqrt(stockout_cost / both)


def economic_batch(
    fixed_cost: float, holding_cost: float, demand: float, production: float
) -> tuple[float, float]:
    """
    Return the economic production quantity and its cost, where a batch arrives over time.

    Parameters
    ----------
    fixed_cost, holding_cost, demand : float
        As in `yearly_cost`.
    production : float
        Units per unit of time while producing; above `demand`.

    References
    ----------
    Snyder & Shen 2019, section 3.6. Basis: results recomputed; book not opened.
    """
    if production <= demand:
        raise ValueError(f"production is {production}; it must be above demand, {demand}")
    return economic_order(fixed_cost, holding_cost * (1.0 - demand / production), demand)


def economic_order_with_breaks(
    fixed_cost: float,
    holding_rate: float,
    demand: float,
    breakpoints: Sequence[float],
    unit_costs: Sequence[float],
) -> tuple[float, float]:
    """
    Return the best order under all-units price breaks, and its whole cost with the goods.

    Parameters
    ----------
    fixed_cost, demand : float
        As in `yearly_cost`.
    holding_rate : float
        Cost of holding one unit for one unit of time, as a share of its price.
    breakpoints : sequence of float, shape (n,)
        Least quantity of each price, the first 0.
    unit_costs : sequence of float, shape (n,)
        Price of every unit from that quantity on.

    Notes
    -----
    In each price band the cost is convex, so its best point is the band's economic order,
    clamped to the band; the cheapest band wins [1]_.

    References
    ----------
    .. [1] Snyder & Shen 2019, section 3.4. Basis: results recomputed; book not opened.
    """
    best: tuple[float, float] | None = None
    ends = [*breakpoints[1:], math.inf]
    for start, end, price in zip(breakpoints, ends, unit_costs, strict=True):
        free, _ = economic_order(fixed_cost, holding_rate * price, demand)
        quantity = max(free, start)
        if quantity >= end:
            continue  # the next band is cheaper still, and its lower end is looked at there
        cost = price * demand + yearly_cost(quantity, fixed_cost, holding_rate * price, demand)
        if best is None or cost < best[1]:
            best = (quantity, cost)
    if best is None:
        raise ValueError("no price holds for any quantity; give breakpoints in rising order")
    return best
