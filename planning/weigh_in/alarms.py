"""Trouble at a pot told by one tap: what is open, and what to do about it."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any

from django.db.models import Exists, OuterRef

from planning.batches.models import ALARMS, BatchEntry, EntryKind

MOST_SHOWN = 20
"""So many open alarms a page shows, the newest first."""

CARE: dict[str, tuple[str, ...]] = {
    EntryKind.HOT_POT: (
        "Do not stir it, do not cover it, do not hold it in your hands.",
        "If it still flows and its pour time has not passed, pour it thin at once.",
        "Otherwise carry it outside by its handle, set it on a bare floor away from people and "
        "anything that burns, and spread it flat if it still flows.",
        "Keep out of its fumes. Never put it in a bin. If it smokes, get everybody out and call "
        "for help.",
    ),
    EntryKind.LEAK_SEEN: (
        "Stop pouring into the mould that leaks.",
        "Press clay or wax on the gap from outside and set a tray beneath it. Gloves on.",
        "Wipe up what ran out before it sets. It heats up where it lies deep: spread it thin.",
        "Do not pour after the pot life to make up for it. The rest is planned anew.",
    ),
    EntryKind.SPILL: (
        "Eye: rinse with water at once, lids held open, for at least 15 minutes. Take contact "
        "lenses out. See a doctor.",
        "Skin: take off what is soaked. Wash with soap and plenty of water, never with solvent.",
        "Floor: keep people away. Cover it with dry sand or another binder that does not burn, "
        "take it up with gloves on, and spread it thin outside. Nothing into the drain.",
        "Dizzy or short of breath: into fresh air, never alone.",
    ),
    EntryKind.SHORT_SEEN: (
        "Fill the first mould as planned before you begin the next one.",
        "Do not scrape the sides of the pot into it; do not stretch it with resin or hardener.",
        "What is missing is planned anew as a further lift; it must still bond, so tell how much "
        "it is as soon as the pot is empty.",
    ),
}
"""The usual care. Common practice, no source; the safety data sheet and local rules win."""


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
