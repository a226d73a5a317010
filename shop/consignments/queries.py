"""What is on its way to a site and may be used once it has come."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models.functions import Upper

from shared.access.models import Site
from shop.consignments.models import ConsignmentStatus
from shop.lots.models import Container, Lot, LotStatus
from shop.lots.queries import clocks

STOPPED = (LotStatus.QUARANTINE, LotStatus.HELD)


@dataclass(frozen=True)
class Coming:
    """Goods on their way to a site, in the material's unit."""

    number: str
    material_id: int
    quantity: Decimal
    due_on: date
    usable_until: date | None


def coming(site: Site, material_ids: Collection[int] | None = None) -> list[Coming]:
    """
    Return what is on its way to a site and will be free there; two queries at most.

    What is held or in quarantine where it came from, or will join a lot that is, is left out. Of
    two expiry dates of one lot the earlier holds, as it does when the goods come in.
    """
    rows = Container.objects.filter(
        consignment__to_site=site, consignment__status=ConsignmentStatus.SENT, balance__gt=0,
        lot__status=LotStatus.RELEASED,
    ).select_related("lot__site", "lot__material", "consignment__to_site")  # fmt: skip
    if material_ids is not None:
        rows = rows.filter(lot__material__in=material_ids)
    sent: list[Any] = list(rows.annotate(named=Upper("lot__code")).order_by("pk"))
    there = _lots_there(site, sent)
    found = []
    for row in sent:
        twin = None if row.lot.mixed else there.get(_key(row.lot, row.named))
        if twin is not None and twin.status in STOPPED:
            continue
        until = [clocks(row).until, twin.expires_on if twin else None]
        found.append(
            Coming(
                str(row.consignment),
                row.lot.material_id,
                row.balance,
                row.consignment.expected_on,
                min((day for day in until if day is not None), default=None),
            )
        )
    return found


def _lots_there(site: Site, sent: Collection[Any]) -> dict[tuple[object, ...], Lot]:
    """Return the lots of the site that these goods may join."""
    if not sent:
        return {}
    rows = Lot.objects.annotate(named=Upper("code")).filter(
        site=site,
        material__in={row.lot.material_id for row in sent},
        named__in={row.named for row in sent},
    )
    return {_key(lot, lot.named): lot for lot in rows}


def _key(lot: Lot, named: str) -> tuple[object, ...]:
    return lot.material_id, lot.supplier_id, named
