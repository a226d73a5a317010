"""Writes: add an event of an order, in the transaction of the change it tells of."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Max

from planning.order_events.models import PAYLOAD_VERSION, EventKind, OrderEvent


def add_event(
    *,
    order: Any,
    kind: EventKind,
    at: datetime,
    pour: Any = None,
    old: Mapping[str, Any] | None = None,
    new: Mapping[str, Any] | None = None,
    reason: str = "",
    by: Any = None,
) -> OrderEvent:
    """
    Add the next event of an order; call inside the transaction that changes it.

    The order's row is locked, so that its events are numbered in the order they are committed.

    Raises
    ------
    RuntimeError
        Outside a transaction: the event could be kept though the change was not.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("An event is added in the transaction of the change it tells of.")
    type(order)._default_manager.select_for_update().only("pk").get(pk=order.pk)
    last = OrderEvent.objects.filter(order=order.pk).aggregate(n=Max("sequence"))["n"]
    sequence = (last or 0) + 1
    payload = {
        "version": PAYLOAD_VERSION,
        "kind": str(kind),
        "site": order.site.code,
        "order": str(order.pk),
        "number": order.number,
        "customer_reference": order.customer_reference,
        "sequence": sequence,
        "at": plain(at),
        "reason": reason[:200],
        "old": {name: plain(value) for name, value in (old or {}).items()},
        "new": {name: plain(value) for name, value in (new or {}).items()},
    }
    if pour is not None:
        payload |= {"pour": str(pour.pk), "half": pour.half}
    return OrderEvent.objects.create(
        site_id=order.site_id,
        order=order,
        pour=pour,
        sequence=sequence,
        kind=kind,
        reason=reason[:200],
        payload=payload,
        at=at,
        by=by,
    )


def plain(value: Any) -> Any:
    """Return a value as JSON holds it: moments in UTC, decimals as text, rows by their code."""
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    return getattr(value, "code", None) or str(value)


def add_changes(
    *,
    order: Any,
    before: Mapping[str, Any],
    after: Mapping[str, Any],
    at: datetime,
    pour: Any = None,
    reason: str = "",
    by: Any = None,
) -> OrderEvent | None:
    """Add an event of what differs between two states; none where nothing does."""
    changed = [name for name in after if plain(before.get(name)) != plain(after[name])]
    if not changed:
        return None
    return add_event(
        order=order,
        kind=EventKind.CHANGED,
        at=at,
        pour=pour,
        old={name: before.get(name) for name in changed},
        new={name: after[name] for name in changed},
        reason=reason,
        by=by,
    )
