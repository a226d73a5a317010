"""When something has happened to a pot that the plan does not know of: offer a new plan."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from itertools import takewhile
from typing import Any

from planning.batches.models import Batch, BatchEntry, EntryKind
from planning.schedule.because import ask_because, plan_since
from planning.schedule.models import WeekPlan
from shared import clock
from shared.errors import ShopError
from shared.units import week_of

MOST_TOLD = 5
"""So many of the newest are asked about and told; a reason holds 200 letters."""
UNPLANNED = (EntryKind.SCRAPPED, EntryKind.SHORT, EntryKind.LEAK, EntryKind.REWEIGHED)


def troubles(batch: Batch) -> list[BatchEntry]:
    """Return what happened to a batch and no plan knows of, the newest first; else the newest."""
    rows = sorted(
        (entry for entry in batch.entries.all() if _is_unplanned(batch, entry)),
        key=lambda entry: (entry.recorded_at, entry.pk),
        reverse=True,
    )
    since = takewhile(
        lambda row: plan_since(batch.site_id, row.recorded_at) is None, rows[:MOST_TOLD]
    )
    return list(since) or rows[:1]


def _is_unplanned(batch: Batch, entry: BatchEntry) -> bool:
    """Whether an entry changes what the plan rests on; a weighing put right does in a cast pot."""
    if entry.kind == EntryKind.REWEIGHED:
        return any(row.entry_id == entry.pk for row in entry.quarantines.all())
    return entry.kind in UNPLANNED


def reason_of(entries: Sequence[BatchEntry]) -> str:
    """Return what happened, in one line: batch, what, how much, the words written down."""
    found = []
    for entry in entries:
        kg = entry.facts.get("kg")
        much = f", {float(kg):g} kg missing" if kg and entry.kind != EntryKind.SCRAPPED else ""
        words = f": {entry.words}" if entry.words else ""
        found.append(f"{entry.get_kind_display().lower()}{much}{words}")
    return f"Batch {entries[0].batch.number}: {'; '.join(found)}"[:200]


def offer_of(batch: Batch) -> dict[str, Any] | None:
    """Return what happened and the plan asked for since, if any; nothing while all is well."""
    entries = troubles(batch)
    if not entries:
        return None
    plan = plan_since(batch.site_id, entries[0].recorded_at)
    return {"words": reason_of(entries), "plan": None if plan is None else plan.pk}


def ask_plan(*, batch: Batch, now: datetime, by: Any = None) -> WeekPlan:
    """Ask for a new plan with what happened to a batch as its reason."""
    entries = troubles(batch)
    if not entries:
        raise ShopError(
            f"Nothing is recorded of batch {batch.number} that its plan does not know of; ask "
            "for a new plan on the week's page.",
            code="nothing_happened",
        )
    first = clock.local(batch.planned_start, batch.site).date()
    week = week_of(first) if batch.plan is None else batch.plan.week
    return ask_because(
        site=batch.site,
        reason=reason_of(entries),
        since=entries[0].recorded_at,
        week=week,
        now=now,
        by=by,
    )
