"""Writes: add an event, in the transaction of the change it tells of."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django.db import transaction
from django.db.models import F

from shared.access.models import Site
from shared.events.kinds import PAYLOAD_VERSION, EventKind, ObjectKind
from shared.events.models import Event, NumberedObject, UnplacedEvent


def add(
    *,
    site: Site,
    object_kind: ObjectKind,
    object_id: Any,
    kind: EventKind,
    at: datetime,
    facts: Mapping[str, Any] | None = None,
    old: Mapping[str, Any] | None = None,
    new: Mapping[str, Any] | None = None,
    reference: str = "",
    reason: str = "",
    by: Any = None,
) -> Event:
    """
    Add the next event of an object; call inside the transaction of the change.

    Parameters
    ----------
    facts : mapping
        Names and ids of what it is about, beside those every event has.
    old, new : mapping
        What was and what is, by name; quantities carry their unit in the name.
    reference : str
        The ordering system's own name for the object, so that it can ask by it.

    Raises
    ------
    RuntimeError
        Outside a transaction: the event could be kept though the change was not.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("An event is added in the transaction of the change it tells of.")
    sequence = _next_number(site, object_kind, str(object_id))
    payload = {
        "version": PAYLOAD_VERSION,
        "site": site.code,
        "object": {"kind": str(object_kind), "id": str(object_id)},
        **{name: plain(value) for name, value in (facts or {}).items()},
        "sequence": sequence,
        "at": plain(at),
        "reason": reason[:200],
        "old": {name: plain(value) for name, value in (old or {}).items()},
        "new": {name: plain(value) for name, value in (new or {}).items()},
    }
    event = Event.objects.create(
        site=site,
        uid=f"evt_{uuid4().hex}",
        kind=kind,
        object_kind=object_kind,
        object_id=str(object_id),
        sequence=sequence,
        reference=reference,
        reason=reason[:200],
        payload=payload,
        at=at,
        by=by,
    )
    UnplacedEvent.objects.create(event=event)
    return event


def _next_number(site: Site, object_kind: str, object_id: str) -> int:
    """Return the next number of an object; its row stays locked until the transaction ends."""
    row, _ = NumberedObject.objects.get_or_create(
        site=site, object_kind=object_kind, object_id=object_id
    )
    rows = NumberedObject.objects.filter(pk=row.pk)
    rows.update(last=F("last") + 1)
    return rows.values_list("last", flat=True).get()


def plain(value: Any) -> Any:
    """Return a value as JSON holds it: moments in UTC, decimals as text, rows by their code."""
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    if isinstance(value, Mapping):
        return {name: plain(one) for name, one in value.items()}
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    return getattr(value, "code", None) or str(value)
