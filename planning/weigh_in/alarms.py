"""Trouble at a pot told by one tap: what is open, and what to do about it."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any

from django.db.models import Exists, OuterRef

from planning.batches.care import CARE
from planning.batches.models import ALARMS, BatchEntry, EntryKind

MOST_SHOWN = 20
"""So many open alarms a page shows, the newest first."""


def what_to_do(kind: str) -> tuple[str, ...]:
    """Return the usual care for a kind of trouble, the first thing first."""
    return CARE[kind]


def open_entries(
    *, site_id: int | None = None, only: Collection[int] | None = None
) -> list[BatchEntry]:
    """Return alarms that nobody has called over, the newest first; one query."""
    over = BatchEntry.objects.filter(
        batch=OuterRef("batch"), kind=EntryKind.ALL_CLEAR, at__gte=OuterRef("at")
    )
    rows = BatchEntry.objects.filter(~Exists(over), kind__in=ALARMS)
    if site_id is not None:
        rows = rows.filter(batch__site=site_id)
    if only is not None:
        rows = rows.filter(pk__in=only)
    return list(rows.select_related("batch__site", "by").order_by("-at", "-pk")[:MOST_SHOWN])


def open_of(entries: Iterable[BatchEntry]) -> list[BatchEntry]:
    """Return those of one batch's entries that are open alarms, the newest first; no query."""
    rows = list(entries)
    over = max((row.at for row in rows if row.kind == EntryKind.ALL_CLEAR), default=None)
    found = [row for row in rows if row.kind in ALARMS and (over is None or row.at > over)]
    return sorted(found, key=lambda row: (row.at, row.pk), reverse=True)


def plain(entry: BatchEntry) -> dict[str, Any]:
    """Return an alarm as page and API tell it."""
    return {
        "id": str(entry.pk),
        "kind": entry.kind,
        "label": entry.get_kind_display(),
        "at": entry.at,
        "by": "" if entry.by is None else str(entry.by),
        "what_to_do": list(what_to_do(entry.kind)),
    }


def care() -> list[dict[str, Any]]:
    """Return every kind of trouble with its usual care, for a page that loses its network."""
    return [
        {"kind": str(kind), "label": str(kind.label), "what_to_do": list(what_to_do(kind))}
        for kind in ALARMS
    ]
