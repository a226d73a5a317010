"""
Who has which batch open, and who recorded something of it last.

An open page tells every few seconds that somebody looks at it; that is kept for seconds, in what
all processes share. A phone without a network, or one whose screen is off, tells nothing: then it
is said that it is not known.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from planning.batches.models import Batch, BatchEntry, BatchStatus, Weighing
from planning.weigh_in.scale_readings import shared_store
from shared import clock
from shared.access.models import Site, User

OPEN_FOR = timedelta(seconds=20)
"""A page that has told nothing for so long is not open any more, or cannot be seen."""
KEPT_S = 3600
"""Longer than a row counts: a store of files deletes what is past its time while it is read."""
BEGUN = (BatchStatus.WEIGHING, BatchStatus.WEIGHED, BatchStatus.MIXING)


@dataclass(frozen=True)
class Told:
    """Who did something, and when; no name where a machine or nobody known did it."""

    name: str
    at: datetime


def opened(*, batch: Batch, by: User, now: datetime) -> None:
    """
    Note that somebody has a batch open.

    Two pages that tell at the same moment may lose one of them until it tells again.
    """
    rows = {key: row for key, row in _rows(batch.site_id).items() if _is_fresh(row, now)}
    rows[f"{batch.pk}:{by.pk}"] = {"batch": batch.pk, "name": str(by), "at": now.isoformat()}
    shared_store().set(_key(batch.site_id), rows, KEPT_S)


def open_at(site_id: int, now: datetime) -> dict[int, list[str]]:
    """Return the names of who has which batch of a site open, by batch."""
    found: dict[int, list[str]] = {}
    for row in _rows(site_id).values():
        if _is_fresh(row, now):
            found.setdefault(row["batch"], []).append(row["name"])
    return {batch: sorted(names) for batch, names in found.items()}


def last_told(batches: Iterable[int]) -> dict[int, Told]:
    """Return who recorded something of each batch last; two queries, none for no batch."""
    ids = set(batches)
    found: dict[int, Told] = {}
    if not ids:
        return found
    weighings = Weighing.objects.filter(line__batch__in=ids).select_related("by", "line")
    entries = BatchEntry.objects.filter(batch__in=ids).select_related("by")
    rows: list[tuple[int, Weighing | BatchEntry]] = [(one.line.batch_id, one) for one in weighings]
    rows += [(one.batch_id, one) for one in entries]
    for batch, row in rows:
        if batch not in found or row.recorded_at >= found[batch].at:
            found[batch] = Told("" if row.by is None else str(row.by), row.recorded_at)
    return found


def words_of(
    status: str, names: Iterable[str], told: Told | None, site: Site, now: datetime
) -> str:
    """Say who is at a batch as far as it is known; nothing where nobody has begun or opened it."""
    listed = list(names)
    begun = status in BEGUN
    if not listed and not begun:
        return ""
    said = f"Open now: {', '.join(listed)}." if listed else "Nobody is seen to have it open now."
    if told is not None:
        local = clock.local(told.at, site)
        day = "" if local.date() == clock.local(now, site).date() else f"{local:%a} "
        said += f" Last recorded {day}{local:%H:%M}" + (f" by {told.name}." if told.name else ".")
    if not listed:
        said += " Who is at it is not known: a phone without a network is not seen."
    return said


def words_for(batch: Batch, now: datetime, reader: User | None = None) -> str:
    """Say who is at one batch; whoever reads that on its page has it open."""
    names = set(open_at(batch.site_id, now).get(batch.pk, ()))
    if reader is not None:
        names.add(str(reader))
    told = last_told([batch.pk]).get(batch.pk)
    return words_of(batch.status, sorted(names), told, batch.site, now)


def words_on(site: Site, rows: Iterable[Mapping[str, Any]], now: datetime) -> dict[int, str]:
    """Say who is at each of some batches, given as rows with id and status."""
    listed = [(row["id"], row["status"]) for row in rows]
    names = open_at(site.pk, now)
    told = last_told(pk for pk, status in listed if status in BEGUN or pk in names)
    return {
        pk: words_of(status, names.get(pk, ()), told.get(pk), site, now) for pk, status in listed
    }


def _key(site_id: int) -> str:
    return f"open:{site_id}"


def _rows(site_id: int) -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = shared_store().get(_key(site_id)) or {}
    return found


def _is_fresh(row: Mapping[str, Any], now: datetime) -> bool:
    return timedelta(0) <= now - datetime.fromisoformat(row["at"]) <= OPEN_FOR
