"""Reading purchase orders: what came in of each line, and what is still due."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import QuerySet

from shop.core.shelf_life import add_months
from shop.ledger.models import Movement
from shop.materials.models import Pack
from shop.purchasing.models import COMING, OrderStatus, PurchaseOrder, PurchaseOrderLine
from shop.sums import exact_sum

ZERO = Decimal(0)
FRESH_SHARE = Decimal("0.8")
"""Of the shelf life that goods still have on arrival; chosen here, common practice, no source."""
SENT = (OrderStatus.ORDERED, OrderStatus.CONFIRMED)


@dataclass(frozen=True)
class Due:
    """What is still to come of an order line."""

    line_id: int
    order_id: int
    order_number: str
    order_status: str
    material_id: int
    quantity: Decimal
    due_on: date
    shelf_life_months: int | None

    @property
    def usable_until(self) -> date | None:
        """The last usable day it will probably have."""
        return usable_on_arrival(self.due_on, self.shelf_life_months)


def usable_on_arrival(arrives_on: date, shelf_life_months: int | None) -> date | None:
    """Return the last usable day of goods that arrive with the usual share of their life."""
    if not shelf_life_months:
        return None
    return (
        add_months(arrives_on, int(shelf_life_months * FRESH_SHARE))
        if (shelf_life_months > 1)
        else add_months(arrives_on, shelf_life_months)
    )


def received(lines: Iterable[PurchaseOrderLine]) -> dict[int, Decimal]:
    """Return what the ledger says came in of each line, corrections included."""
    keys = {line.counterpart: line.pk for line in lines}
    rows = (
        Movement.objects.filter(counterpart__in=keys)
        .values("counterpart")
        .annotate(total=exact_sum("quantity"))
        .order_by()
    )
    found = dict.fromkeys(keys.values(), ZERO)
    found.update({keys[row["counterpart"]]: row["total"] for row in rows})
    return found


def due(
    site_id: int,
    material_ids: Iterable[int] | None = None,
    statuses: Iterable[str] = COMING,
) -> tuple[Due, ...]:
    """Return what is still to come at a site, by day; two queries however many orders."""
    rows = PurchaseOrderLine.objects.filter(
        order__site=site_id, order__status__in=list(statuses)
    ).select_related("order", "material")
    if material_ids is not None:
        rows = rows.filter(material__in=list(material_ids))
    lines = list(rows)
    came = received(lines)
    found = [
        Due(
            line.pk,
            line.order_id,
            line.order.number,
            line.order.status,
            line.material_id,
            line.coming_quantity - came[line.pk],
            line.due_on,
            line.material.shelf_life_months,
        )
        for line in lines
        if line.coming_quantity > came[line.pk]
    ]
    return tuple(sorted(found, key=lambda d: (d.due_on, d.line_id)))


def orders(site_id: int) -> QuerySet[PurchaseOrder]:
    """Return the orders of a site with all that a list of them shows."""
    return (
        PurchaseOrder.objects.filter(site=site_id)
        .select_related("supplier", "site", "created_by", "approved_by")
        .prefetch_related("lines__material")
    )


@dataclass(frozen=True)
class LineState:
    """A line with what came in of it."""

    line: PurchaseOrderLine
    received: Decimal

    @property
    def open(self) -> Decimal:
        """What is still to come; 0 when more came than was due."""
        return max(ZERO, self.line.coming_quantity - self.received)

    @property
    def open_packs(self) -> int:
        """How many packs that is, the last perhaps in part."""
        return math.ceil(self.open / self.line.content)


def open_lines(site_id: int) -> tuple[LineState, ...]:
    """Return the sent order lines of a site of which something is still to come, by day."""
    rows = PurchaseOrderLine.objects.filter(
        order__site=site_id, order__status__in=SENT
    ).select_related("order__supplier", "order__site", "material")
    lines = list(rows)
    came = received(lines)
    states = [LineState(line, came[line.pk]) for line in lines]
    return tuple(sorted((s for s in states if s.open), key=lambda s: (s.line.due_on, s.line.pk)))


def line_states(order: PurchaseOrder) -> tuple[LineState, ...]:
    """Return the lines of an order with what came in of each."""
    lines = list(order.lines.all())
    came = received(lines)
    return tuple(LineState(line, came[line.pk]) for line in lines)


def goods_cost(order: PurchaseOrder) -> Decimal | None:
    """Return the price of all lines; None if one has no price."""
    costs = [line.cost for line in order.lines.all()]
    return None if None in costs else sum((c for c in costs if c is not None), ZERO)


def packs_on_offer() -> QuerySet[Pack]:
    """Return every pack a supplier sells, price breaks left out, by material."""
    return (
        Pack.objects.filter(from_packs=1)
        .select_related("material", "supplier")
        .order_by("material__name", "supplier__name", "content")
    )


def pack_price(pack: Pack, count: int) -> Decimal:
    """Return the price of each pack when so many are ordered: the highest break reached."""
    tiers = Pack.objects.filter(
        material=pack.material_id, supplier=pack.supplier_id, name=pack.name
    )
    reached = [tier for tier in tiers if tier.from_packs <= count]
    return max(reached, key=lambda tier: tier.from_packs).price if reached else pack.price


def price_together(line: PurchaseOrderLine, added: Decimal | None) -> Decimal | None:
    """
    Return the price of each pack of a line to which packs were added at another price.

    Where both prices stand in the supplier's list, the break that all its packs together reach
    holds; a price agreed otherwise is the later one's.
    """
    tiers = Pack.objects.filter(
        material=line.material_id, supplier=line.order.supplier_id, name=line.pack_name
    )
    listed = {tier.from_packs: tier.price for tier in tiers}
    reached = [count for count in listed if count <= line.packs]
    if not reached or not {line.pack_price, added} <= set(listed.values()):
        return added
    return listed[max(reached)]
