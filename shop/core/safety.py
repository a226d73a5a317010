"""How much to keep against uncertain demand and lead time, and when to order."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from statistics import NormalDist

_NORMAL = NormalDist()


@dataclass(frozen=True)
class Reorder:
    """Safety stock and the stock at which to order, in the material's unit."""

    safety_stock: float
    reorder_point: float


def service_factor(service: float) -> float:
    """Return the number of standard deviations that covers a share `service` of lead times."""
    if not 0 < service < 1:
        raise ValueError(f"service level is {service}; it must lie between 0 and 1")
    return _NORMAL.inv_cdf(service)


def reorder(mean_d: float, sd_d: float, mean_lead: float, sd_lead: float, z: float) -> Reorder:
    r"""
    Return safety stock and reorder point where demand and lead time both vary.

    Parameters
    ----------
    mean_d, sd_d : float
        Mean and standard deviation of demand per period, independent between periods.
    mean_lead, sd_lead : float
        Mean and standard deviation of the lead time, periods.
    z : float
        Number of standard deviations, as from `service_factor`; not below 0.

    Raises
    ------
    ValueError
        If a figure is negative.

    Notes
    -----
    :math:`s = z \sqrt{L \sigma_d^2 + d^2 \sigma_L^2}`, standard formula, from memory. It holds
    for near-normal demand over the lead time; lumpy demand (a pour a week) needs a look by eye.
    """
    for name, value in {
        "mean_d": mean_d, "sd_d": sd_d, "mean_lead": mean_lead, "sd_lead": sd_lead, "z": z,
    }.items():  # fmt: skip
        if value < 0:
            raise ValueError(f"{name} is {value}; it must be 0 or more")
    safety = z * math.sqrt(mean_lead * sd_d**2 + mean_d**2 * sd_lead**2)
    return Reorder(safety, mean_d * mean_lead + safety)


def single_period(
    holding_cost: float, stockout_cost: float, mean: float, sd: float
) -> tuple[float, float]:
    """
    Return how much to buy once for normal demand, and the expected cost.

    Parameters
    ----------
    holding_cost : float
        Cost of one unit left over, money.
    stockout_cost : float
        Cost of one unit short, money.
    mean, sd : float
        Demand, units.

    References
    ----------
    Snyder & Shen 2019, section 4.3. Basis: results recomputed; book not opened.
    """
    ratio = stockout_cost / (holding_cost + stockout_cost)
    z = _NORMAL.inv_cdf(ratio)
    return mean + z * sd, (holding_cost + stockout_cost) * _NORMAL.pdf(z) * sd


def single_period_from_prices(
    revenue: float, purchase_cost: float, salvage: float, mean: float, sd: float
) -> float:
    """Return the single-period order where a unit short loses its margin, a unit over its loss."""
    return single_period(purchase_cost - salvage, revenue - purchase_cost, mean, sd)[0]


def base_stock(
    holding_cost: float, stockout_cost: float, mean: float, sd: float, lead_time: float
) -> tuple[float, float]:
    """
    Return the order-up-to level at periodic review and its cost per period.

    Parameters
    ----------
    holding_cost, stockout_cost, mean, sd : float
        As in `single_period`, per period.
    lead_time : float
        Periods; one review period is added to it.
    """
    span = lead_time + 1.0
    return single_period(holding_cost, stockout_cost, mean * span, sd * math.sqrt(span))


def single_period_discrete(
    holding_cost: float, stockout_cost: float, chances: Mapping[int, float]
) -> tuple[int, float]:
    """
    Return the least-cost order for demand in whole units, by search, and its expected cost.

    Parameters
    ----------
    holding_cost, stockout_cost : float
        As in `single_period`.
    chances : mapping of int to float
        Probability of each demand; they sum to 1.
    """
    costs = {s: _expected(s, holding_cost, stockout_cost, chances) for s in chances}
    best = min(sorted(costs), key=lambda s: costs[s])
    return best, costs[best]


def _expected(level: int, holding: float, stockout: float, chances: Mapping[int, float]) -> float:
    return sum(
        p * (holding * max(0, level - d) + stockout * max(0, d - level))
        for d, p in chances.items()
    )


def poisson(mean: float) -> dict[int, float]:
    """Return the chances of a Poisson demand, cut where less than 1e-15 is left."""
    top = int(mean + 12 * math.sqrt(mean) + 20)
    return {k: math.exp(k * math.log(mean) - mean - math.lgamma(k + 1)) for k in range(top + 1)}
