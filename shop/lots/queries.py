"""Reading lots and containers: what may be used until when, first expired first out."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime

from django.db.models import QuerySet

from shared import clock
from shop.core.shelf_life import UsableUntil, usable_until
from shop.lots.models import Container, LotStatus
from shop.stores_types import ContainerInfo


def with_lots() -> QuerySet[Container]:
    """Return containers with all that their plain form needs, in one query."""
    return Container.objects.select_related("lot__site", "lot__material", "location")


def clocks(container: Container, opened_at: datetime | None = None) -> UsableUntil:
    """
    Return both clocks of a container, expiry and open life, and which one holds.

    With `opened_at` as they would be if it were opened then, or had been before.
    """
    lot = container.lot
    opened = container.opened_at or opened_at
    return usable_until(
        retested_until=lot.expires_on if lot.retested_on else None,
        label_until=lot.expires_on,
        opened_on=clock.local(opened, lot.site).date() if opened else None,
        open_life_days=lot.material.open_life_days,
    )


def container_info(container: Container) -> ContainerInfo:
    """Return the plain form of a container read by `with_lots`."""
    lot = container.lot
    until = clocks(container).until
    return ContainerInfo(
        id=container.pk,
        code=container.code,
        lot_id=lot.pk,
        lot_code=lot.code,
        lot_status=lot.status,
        lot_reason=lot.status_reason,
        lot_since=lot.status_at,
        material_id=lot.material_id,
        material_code=lot.material.code,
        material_name=lot.material.name,
        location=container.location.name if container.location else "",
        balance=container.balance,
        free=container.balance - container.reserved,
        opened_at=container.opened_at,
        expires_on=lot.expires_on,
        open_life_days=lot.material.open_life_days,
        usable_until=clock.day_end(until, lot.site) if until else None,
        made_on=lot.made_on,
    )


def fefo_key(info: ContainerInfo) -> tuple[bool, datetime, str]:
    """Sort opened containers first, then by the moment they may no longer be used, then code."""
    never = datetime.max.replace(tzinfo=UTC)
    return (info.opened_at is None, info.usable_until or never, info.code)


def containers(
    site_id: int, material_ids: Iterable[int], *, usable_on: date | None = None
) -> tuple[ContainerInfo, ...]:
    """
    Return what may be taken at a site, first expired first out.

    Only released lots with something left. With `usable_on`, only what is still usable on that
    day; the last day itself counts.
    """
    rows = with_lots().filter(
        lot__site=site_id,
        lot__material__in=list(material_ids),
        lot__status=LotStatus.RELEASED,
        balance__gt=0,
        consignment=None,
    )
    found = [
        container_info(row)
        for row in rows
        if usable_on is None or clocks(row).usable_on(usable_on)
    ]
    return tuple(sorted(found, key=fefo_key))


def stamp(site_id: int) -> str:
    """Return a text that differs once what may be taken at a site has changed."""
    rows = Container.objects.filter(lot__site=site_id, balance__gt=0).order_by("pk")
    names = ("pk", "balance", "reserved", "opened_at", "lot__status", "lot__expires_on")
    return repr(list(rows.values_list(*names, "lot__retested_on")))
