"""Reads: events of an order, and the dates it was last told."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import QuerySet

from shared.events import queries
from shared.events.kinds import EventKind, ObjectKind
from shared.events.models import Event

DATED = (EventKind.PLANNED, EventKind.MOVED, EventKind.TAKEN_OUT)


def events_of(order_id: int) -> QuerySet[Event]:
    """Return an order's events, the newest first."""
    return queries.events_of(ObjectKind.ORDER, order_id)


def last_told(pours: Iterable[Any]) -> dict[int, dict[str, Any]]:
    """Return the planned dates last told of each of some pours that is planned, by pour."""
    asked = {str(pour.pk): pour for pour in pours}
    rows = Event.objects.filter(
        object_kind=ObjectKind.ORDER,
        object_id__in={str(pour.order_id) for pour in asked.values()},
        kind__in=DATED,
    )
    found: dict[int, dict[str, Any]] = {}
    for kind, payload in rows.order_by("pk").values_list("kind", "payload"):
        pour = asked.get(payload.get("pour", ""))
        if pour is None:
            continue
        if kind == EventKind.TAKEN_OUT:
            found.pop(pour.pk, None)
        else:
            found[pour.pk] = payload["new"]
    return found
