"""What the shop tells others of: events of lots, goods, purchases and materials, in one form."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from shared import clock
from shared.events import actions as events
from shared.events.kinds import EventKind, ObjectKind
from shared.events.models import Event


def _material(material: Any) -> dict[str, Any]:
    return {"material": material.code, "material_name": material.name, "unit": material.unit}


def of_lot(kind: EventKind, lot: Any, *, at: datetime | None = None, **more: Any) -> Event:
    """Tell of a lot: received, held or soon expired."""
    named = {"lot": lot.code, **_material(lot.material), **more.pop("facts", {})}
    return events.add(
        site=lot.site,
        object_kind=ObjectKind.LOT,
        object_id=lot.pk,
        kind=kind,
        at=at or clock.now(),
        facts=named,
        **more,
    )


def received(taken: Iterable[Any], *, at: datetime, order: Any, by: Any) -> None:
    """Tell of each lot that came in, with its mass and the order it came for, if there is one."""
    for one in taken:
        quantity = sum((box.balance for box in one.containers), start=0)
        facts = {"purchase_order": str(order.pk), "number": str(order)} if order else {}
        of_lot(
            EventKind.RECEIVED,
            one.lot,
            at=at,
            facts=facts,
            new={"quantity": quantity, "expires_on": one.lot.expires_on, "status": one.lot.status},
            by=by,
        )


def approved(order: Any, *, by: Any, reason: str = "") -> None:
    """Tell that a purchase order was approved, or that lines were added to an approved one."""
    lines = [
        {
            "material": line.material.code,
            "packs": str(line.packs),
            "due_on": line.due_on.isoformat() if line.due_on else None,
        }
        for line in order.lines.select_related("material").order_by("pk")
    ]
    events.add(
        site=order.site,
        object_kind=ObjectKind.PURCHASE_ORDER,
        object_id=order.pk,
        kind=EventKind.APPROVED,
        at=clock.now(),
        facts={"number": str(order), "supplier": order.supplier.name},
        new={"lines": lines},
        reason=reason,
        by=by,
    )


def of_material(kind: EventKind, site: Any, material: Any, **more: Any) -> Event:
    """Tell of a material at a site: short, enough again, or proposed to be bought."""
    return events.add(
        site=site,
        object_kind=ObjectKind.MATERIAL,
        object_id=material.pk,
        kind=kind,
        at=clock.now(),
        facts=_material(material),
        **more,
    )


def proposed(site: Any, rows: Iterable[Any]) -> None:
    """Tell what is proposed to be bought, by material, where it differs from what was told."""
    by_material: dict[Any, list[Any]] = {}
    for row in rows:
        by_material.setdefault(row.material, []).append(row)
    told = last_of(site, [EventKind.PROPOSED])
    for material, own in by_material.items():
        orders = [
            {
                "supplier": row.supplier.name,
                "quantity": events.plain(row.quantity),
                "order_on": events.plain(row.order_on),
                "arrives_on": events.plain(row.arrives_on),
            }
            for row in own
        ]
        last = told.get(str(material.pk))
        if last is None or last.payload["new"]["orders"] != orders:
            of_material(EventKind.PROPOSED, site, material, new={"orders": orders})


def last_of(site: Any, kinds: Iterable[str]) -> dict[str, Event]:
    """Return the last event of some kinds of each object at a site, by the object's id."""
    rows = Event.objects.filter(site=site, kind__in=list(kinds))
    return {event.object_id: event for event in rows.order_by("pk")}
