"""Reads: events of an order, and the dates it was last told."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import QuerySet

from planning.order_events.models import EventKind, OrderEvent

DATED = (EventKind.PLANNED, EventKind.MOVED, EventKind.TAKEN_OUT)


def events_of(order_id: int) -> QuerySet[OrderEvent]:
    """Return an order's events, the newest first."""
    rows = OrderEvent.objects.filter(order=order_id).select_related("by", "pour")
    return rows.order_by("-sequence")


def last_told(pour_ids: Iterable[int]) -> dict[int, dict[str, Any]]:
    """Return the planned dates last told of each pour that is planned, by pour."""
    rows = OrderEvent.objects.filter(pour__in=list(pour_ids), kind__in=DATED)
    found: dict[int, dict[str, Any]] = {}
    for pour, kind, payload in rows.order_by("pk").values_list("pour", "kind", "payload"):
        if kind == EventKind.TAKEN_OUT:
            found.pop(pour, None)
        else:
            found[pour] = payload["new"]
    return found
