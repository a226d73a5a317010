"""Goods that arrive with little life left, against what the plan can still use of them."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from shared import clock
from shop.core.shelf_life import sealed_until
from shop.ledger.models import Requirement
from shop.ledger.posting import amount
from shop.lots.models import Container, Lot, LotStatus
from shop.sums import exact_sum

SHORT_SHARE = Decimal("0.5")
"""Of the shelf life: with less than this left at receipt a lot is flagged. Chosen here."""


def usable_by_plan(lot: Lot, quantity: Decimal) -> Decimal:
    """Return how much of a lot what is planned can use before it expires, earlier lots first."""
    if lot.expires_on is None:
        return quantity
    needs = Requirement.objects.filter(
        site=lot.site,
        material=lot.material,
        needed_at__lt=clock.day_end(lot.expires_on, lot.site),
    )
    earlier = Container.objects.filter(
        lot__site=lot.site,
        lot__material=lot.material,
        lot__status__in=[LotStatus.RELEASED, LotStatus.QUARANTINE],
        lot__expires_on__lte=lot.expires_on,
    ).exclude(lot=lot)
    wanted = needs.aggregate(total=exact_sum("quantity"))["total"]
    before = earlier.aggregate(total=exact_sum("balance"))["total"]
    return min(quantity, max(wanted - before, Decimal(0)))


def short_dated(lot: Lot, quantity: Decimal, at: datetime) -> tuple[str, ...]:
    """Return a warning if a lot has less than half its shelf life left, else nothing."""
    months = lot.material.shelf_life_months
    if lot.expires_on is None or not months:
        return ()
    today = clock.local(at, lot.site).date()
    whole = (sealed_until(today, months=months) - today).days
    left = (lot.expires_on - today).days
    if left >= whole * SHORT_SHARE:
        return ()
    unit = lot.material.unit
    used = usable_by_plan(lot, quantity)
    return (
        f"Short-dated: {left} days left of a shelf life of {months} months. What is planned by "
        f"{lot.expires_on.isoformat()} can use {amount(used, unit)} of the "
        f"{amount(quantity, unit)} received.",
    )
