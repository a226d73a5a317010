"""
Policies that order when stock falls to a level: fixed quantity (r, Q) and up to a level (s, S).

They answer for consumables with no plan behind them; materials that pours ask for by date are
bought by `shop.core.buying`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from itertools import accumulate
from statistics import NormalDist

from shop.core.safety import poisson

_NORMAL = NormalDist()


def fixed_quantity_normal(
    holding_cost: float,
    stockout_cost: float,
    fixed_cost: float,
    demand_mean: float,
    demand_sd: float,
    lead_time: float,
) -> tuple[float, float, float]:
    r"""
    Return reorder level, order quantity and cost for normal demand over the lead time.

    Parameters
    ----------
    holding_cost, stockout_cost : float
        Cost of one unit held, or waiting, for one unit of time.
    fixed_cost : float
        Cost of one order.
    demand_mean, demand_sd : float
        Demand per unit of time, and its standard deviation over one unit of time.
    lead_time : float
        Units of time.

    Returns
    -------
    tuple of (float, float, float)
        Reorder level, order quantity, cost per unit of time.

    Notes
    -----
    With :math:`g(y)` the cost rate at inventory position y, the best cost c fulfils
    :math:`K\lambda = \int_r^{r+Q} (c - g)\,dy` with :math:`g(r) = g(r+Q) = c` [1]_; the right
    side rises with c, which is found by halving.

    References
    ----------
    .. [1] Snyder & Shen 2019, section 5.2; Zheng 1992. Basis: results recomputed, not opened.
    """
    mean, sd = demand_mean * lead_time, demand_sd * math.sqrt(lead_time)
    both = holding_cost + stockout_cost

    def rate(y: float) -> float:
        z = (y - mean) / sd
        return holding_cost * (y - mean) + both * sd * _loss(z)

    def area(y: float) -> float:
        z = (y - mean) / sd
        return holding_cost * (y - mean) ** 2 / 2 - both * sd * sd * _second_loss(z)

    best = mean + sd * _NORMAL.inv_cdf(stockout_cost / both)
    reach = 10 * sd + 3 * math.sqrt(
        2 * fixed_cost * demand_mean / min(holding_cost, stockout_cost)
    )

    def ends(c: float) -> tuple[float, float]:
        left = _root(lambda y: rate(y) - c, best - 2 * reach, best)
        return left, _root(lambda y: rate(y) - c, best, best + 2 * reach)

    def spare(c: float) -> float:
        low, high = ends(c)
        return c * (high - low) - (area(high) - area(low)) - fixed_cost * demand_mean

    least = rate(best)
    cost = _root(spare, least, min(rate(best - 2 * reach), rate(best + 2 * reach)))
    low, high = ends(cost)
    return low, high - low, cost


def _loss(z: float) -> float:
    return _NORMAL.pdf(z) - z * (1.0 - _NORMAL.cdf(z))


def _second_loss(z: float) -> float:
    return 0.5 * ((z * z + 1.0) * (1.0 - _NORMAL.cdf(z)) - z * _NORMAL.pdf(z))


def _root(f: Callable[[float], float], low: float, high: float) -> float:
    """Halve down to the sign change of `f`, which must have one between the ends."""
    rising = f(high) > f(low)
    for _ in range(200):
        middle = (low + high) / 2
        if (f(middle) > 0) == rising:
            high = middle
        else:
            low = middle
    return (low + high) / 2


def fixed_quantity_poisson(
    holding_cost: float,
    stockout_cost: float,
    fixed_cost: float,
    demand_mean: float,
    lead_time: float,
) -> tuple[int, int, float]:
    """
    Return reorder level, order quantity and cost for demand in single units (Poisson).

    Parameters
    ----------
    holding_cost, stockout_cost, fixed_cost, demand_mean, lead_time : float
        As in `fixed_quantity_normal`.

    Notes
    -----
    The cost rate has one valley, so positions are added cheapest first for as long as the next
    one costs less than the average so far (Federgruen & Zheng 1992, from memory).
    """
    rate = _position_cost(holding_cost, stockout_cost, poisson(demand_mean * lead_time))
    low = high = min(rate, key=lambda y: (rate[y], y))
    total = fixed_cost * demand_mean + rate[low]
    while True:
        left, right = rate.get(low - 1, math.inf), rate.get(high + 1, math.inf)
        if min(left, right) >= total / (high - low + 1):
            break
        total += min(left, right)
        low, high = (low - 1, high) if left < right else (low, high + 1)
    return low - 1, high - low + 1, total / (high - low + 1)


def _position_cost(
    holding: float, stockout: float, chances: Mapping[int, float]
) -> dict[int, float]:
    top = max(chances)
    return {
        y: sum(
            p * (holding * max(0, y - d) + stockout * max(0, d - y)) for d, p in chances.items()
        )
        for y in range(-2 * top - 20, 4 * top + 20)
    }


def up_to_level_poisson(
    holding_cost: float, stockout_cost: float, fixed_cost: float, demand_mean: float
) -> tuple[int, int, float]:
    """
    Return s, S and the cost per period: order up to S when stock is at or below s.

    Parameters
    ----------
    holding_cost, stockout_cost : float
        Cost of one unit held, or short, at the end of a period.
    fixed_cost : float
        Cost of one order.
    demand_mean : float
        Mean of the Poisson demand of a period, units; goods arrive within the period.

    Notes
    -----
    Renewal-reward cost of every pair with S within reach of the cheapest level, full search [1]_.

    References
    ----------
    .. [1] Snyder & Shen 2019, section 4.4. Basis: results recomputed; book not opened.
    """
    chances = poisson(demand_mean)
    rate = _position_cost(holding_cost, stockout_cost, chances)
    span = 4 * max(chances)
    visits = _visits([chances.get(k, 0.0) for k in range(span)])
    periods = [0.0, *accumulate(visits)]
    valley = min(rate, key=lambda y: (rate[y], y))
    best: tuple[float, int, int] | None = None
    for top in range(valley, valley + max(chances)):
        total = fixed_cost
        for n in range(1, top - min(rate)):
            if n >= span:
                break
            total += visits[n - 1] * rate[top - n + 1]
            found = (total / periods[n], top - n, top)
            if best is None or found[0] < best[0] - 1e-12:
                best = found
    assert best is not None
    return best[1], best[2], best[0]


def _visits(chances: list[float]) -> list[float]:
    """Return the expected number of periods spent at each depth below the order-up-to level."""
    visits = [1.0 / (1.0 - chances[0])]
    for j in range(1, len(chances)):
        earlier = sum(chances[i] * visits[j - i] for i in range(1, j + 1))
        visits.append(earlier / (1.0 - chances[0]))
    return visits
