"""Reading the ledger: stock now and at any past moment."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Q

from shared import clock
from shared.access.models import Site
from shop.ledger.models import Movement
from shop.lots.models import Container, Lot, LotStatus
from shop.lots.queries import clocks
from shop.materials.models import Material
from shop.sums import exact_sum

SOON = timedelta(days=30)
ZERO = Decimal(0)


@dataclass
class StockLevel:
    """What a site holds of one material, in the material's unit."""

    material: Material
    total: Decimal = ZERO
    usable: Decimal = ZERO
    """Released and in date."""
    reserved: Decimal = ZERO
    blocked: Decimal = ZERO
    """In quarantine or held."""
    expired: Decimal = ZERO
    """Released, but past its expiry or open life."""
    soon: Decimal = ZERO
    """Usable now, out of date within 30 days."""

    @property
    def free(self) -> Decimal:
        """Return what can still be promised of what is usable."""
        return max(self.usable - self.reserved, ZERO)


def stock_levels(site: Site, now: datetime, **narrow: Any) -> list[StockLevel]:
    """Return what a site holds of each material; three queries at any number of lots."""
    today = clock.local(now, site).date()
    soon = today + SOON
    held = Container.objects.filter(lot__site=site, balance__gt=0, consignment=None)
    released = Q(lot__status=LotStatus.RELEASED)
    blocked = Q(lot__status__in=[LotStatus.QUARANTINE, LotStatus.HELD])
    in_date = Q(lot__expires_on__isnull=True) | Q(lot__expires_on__gte=today)
    expiring = Q(lot__expires_on__gte=today, lot__expires_on__lt=soon)
    sums = held.order_by().values("lot__material")
    sums = sums.annotate(
        total=exact_sum("balance"),
        reserved=exact_sum("reserved"),
        usable=exact_sum("balance", only=released & in_date),
        blocked=exact_sum("balance", only=blocked),
        expired=exact_sum("balance", only=released & Q(lot__expires_on__lt=today)),
        soon=exact_sum("balance", only=released & expiring),
    )
    levels = {row.pk: StockLevel(row) for row in Material.objects.filter(**narrow)}
    for row in sums:
        level = levels.get(row["lot__material"])
        if level is not None:
            for name, value in row.items():
                if name != "lot__material":
                    setattr(level, name, value or ZERO)
    _count_open_life(held.filter(released & in_date), levels, today, soon)
    return list(levels.values())


def _count_open_life(held: Any, levels: dict[int, StockLevel], today: Any, soon: Any) -> None:
    """Move what was opened too long ago; only opened containers need a look one by one."""
    opened = held.filter(opened_at__isnull=False, lot__material__open_life_days__isnull=False)
    for row in opened.select_related("lot__site", "lot__material"):
        level, until = levels.get(row.lot.material_id), clocks(row).until
        if level is None or until is None:
            continue
        sealed_soon = row.lot.expires_on is not None and row.lot.expires_on < soon
        if until < today:
            level.usable -= row.balance
            level.expired += row.balance
            level.soon -= row.balance if sealed_soon else ZERO
        elif until < soon and not sealed_soon:
            level.soon += row.balance


def balances_at(site: Site, at: datetime, **narrow: Any) -> dict[int, Decimal]:
    """Return what each container of a site held at a past moment, from the ledger alone."""
    rows = Movement.objects.filter(site=site, happened_at__lte=at, **narrow).order_by()
    sums = rows.values_list("container").annotate(total=exact_sum("quantity"))
    return {container: total for container, total in sums if total}


@dataclass(frozen=True)
class HeldLot:
    """What a site held of one lot at a past moment, in the material's unit."""

    lot: Lot
    quantity: Decimal

    @property
    def worth(self) -> Decimal | None:
        """Return its cost, to the hundredth; None where the lot has no price."""
        cost = self.lot.unit_cost
        return None if cost is None else round(cost * self.quantity, 2)


def totals_at(site: Site, at: datetime) -> list[tuple[Material, Decimal]]:
    """Return what a site held of each material at a past moment, by code; two queries."""
    rows = Movement.objects.filter(site=site, happened_at__lt=at).order_by()
    sums = rows.values_list("container__lot__material").annotate(total=exact_sum("quantity"))
    held = {pk: total for pk, total in sums if total}
    return [(one, held[one.pk]) for one in Material.objects.order_by("code") if one.pk in held]


def lots_at(site: Site, at: datetime) -> list[HeldLot]:
    """Return what a site held of each lot at a past moment, by material and code; two queries."""
    rows = Movement.objects.filter(site=site, happened_at__lt=at).order_by()
    sums = rows.values_list("container__lot").annotate(total=exact_sum("quantity"))
    held = {pk: total for pk, total in sums if total}
    # Every lot of the site is read: a list of ids may be longer than a database takes.
    lots = Lot.objects.filter(site=site).select_related("material", "supplier")
    ordered = lots.order_by("material__code", "code", "pk")
    return [HeldLot(lot, held[lot.pk]) for lot in ordered.iterator() if lot.pk in held]
