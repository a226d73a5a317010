"""What a casting cost from the lots it really used, and what was wasted, month by month."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal

ZERO = Decimal(0)
CENT = Decimal("0.01")


@dataclass(frozen=True)
class Use:
    """Material of one lot that went into a casting, or back from it if below zero."""

    casting: str
    lot: str
    material: str
    quantity: Decimal


@dataclass(frozen=True)
class LotPrice:
    """Price of one unit of a lot, as received, in one currency."""

    unit_price: Decimal
    currency: str


@dataclass(frozen=True)
class CostLine:
    """One lot's part in the cost of a casting; `cost` is None if the lot has no price."""

    lot: str
    material: str
    quantity: Decimal
    cost: Decimal | None
    currency: str | None


@dataclass(frozen=True)
class CastingCost:
    """The cost of a casting; `totals` holds one sum per currency, never added together."""

    casting: str
    lines: tuple[CostLine, ...]
    totals: Mapping[str, Decimal]
    unpriced: tuple[str, ...]
    """Lots without a price: the totals lack their part."""


def casting_costs(uses: Iterable[Use], prices: Mapping[str, LotPrice]) -> dict[str, CastingCost]:
    """
    Cost castings from the lots they really used.

    Parameters
    ----------
    uses : iterable of Use
        From the ledger; issues positive, returns and counter-movements negative.
    prices : mapping of str to LotPrice
        Unit price by lot. A lot that was free has a price of 0; one left out is unpriced.

    Returns
    -------
    dict of str to CastingCost
        By casting. Sums are rounded once, to the hundredth, half to even.
    """
    summed: dict[str, dict[tuple[str, str], Decimal]] = {}
    for use in uses:
        lots = summed.setdefault(use.casting, {})
        key = (use.lot, use.material)
        lots[key] = lots.get(key, ZERO) + use.quantity
    return {name: _cost(name, lots, prices) for name, lots in summed.items()}


def _cost(
    casting: str, lots: Mapping[tuple[str, str], Decimal], prices: Mapping[str, LotPrice]
) -> CastingCost:
    lines, exact, unpriced = [], dict[str, Decimal](), []
    for (lot, material), quantity in sorted(lots.items()):
        if not quantity:
            continue
        price = prices.get(lot)
        if price is None:
            unpriced.append(lot)
            lines.append(CostLine(lot, material, quantity, None, None))
            continue
        cost = quantity * price.unit_price
        exact[price.currency] = exact.get(price.currency, ZERO) + cost
        lines.append(CostLine(lot, material, quantity, _cents(cost), price.currency))
    totals = {currency: _cents(total) for currency, total in exact.items()}
    return CastingCost(casting, tuple(lines), totals, tuple(unpriced))


def _cents(amount: Decimal) -> Decimal:
    return amount.quantize(CENT, ROUND_HALF_EVEN)


@dataclass(frozen=True)
class Loss:
    """Material that left stock without going into a casting."""

    day: date
    lot: str
    material: str
    quantity: Decimal
    reason: str
    """Such as ``expired``, ``scrapped``, ``sample``, ``count`` or ``pot residue``."""


@dataclass(frozen=True)
class MonthLoss:
    """What one month lost of one material for one reason."""

    month: date
    material: str
    reason: str
    quantity: Decimal
    cost: Mapping[str, Decimal]


def losses_by_month(
    losses: Iterable[Loss], prices: Mapping[str, LotPrice]
) -> tuple[MonthLoss, ...]:
    """
    Sum losses by month, material and reason.

    Parameters
    ----------
    losses : iterable of Loss
        From the ledger; a correction of an earlier loss is negative.
    prices : mapping of str to LotPrice
        Unit price by lot; the cost leaves out lots without one.

    Returns
    -------
    tuple of MonthLoss
        By month (its first day), then material, then reason.
    """
    quantity: dict[tuple[date, str, str], Decimal] = {}
    cost: dict[tuple[date, str, str], dict[str, Decimal]] = {}
    for loss in losses:
        key = (loss.day.replace(day=1), loss.material, loss.reason)
        quantity[key] = quantity.get(key, ZERO) + loss.quantity
        price = prices.get(loss.lot)
        if price is not None:
            sums = cost.setdefault(key, {})
            sums[price.currency] = (
                sums.get(price.currency, ZERO) + loss.quantity * price.unit_price
            )
    return tuple(
        MonthLoss(*key, quantity[key], {c: _cents(x) for c, x in cost.get(key, {}).items()})
        for key in sorted(quantity)
    )
