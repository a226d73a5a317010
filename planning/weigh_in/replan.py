"""When something has happened to a pot that the plan does not know of: offer a new plan."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from planning.week_plan.because import ask_because, plan_since
from planning.week_plan.models import Batch, WeekPlan
from planning.weigh_in.models import BatchEntry, EntryKind
from shared import clock
from shared.errors import ShopError
from shared.units import week_of

UNPLANNED = (EntryKind.SCRAPPED, EntryKind.SHORT, EntryKind.LEAK)


def last_trouble(batch: Batch) -> BatchEntry | None:
    """Return the last thing that happened to a batch and that its plan does not know of."""
    rows = [entry for entry in batch.entries.all() if entry.kind in UNPLANNED]
    return max(rows, key=lambda entry: (entry.recorded_at, entry.pk), default=None)


def reason_of(entry: BatchEntry) -> str:
    """Return what happened, in one line: batch, what, how much, the words written down."""
    kg = entry.facts.get("kg")
    much = f", {float(kg):g} kg missing" if kg and entry.kind != EntryKind.SCRAPPED else ""
    words = f": {entry.words}" if entry.words else ""
    return f"Batch {entry.batch.number}: {entry.get_kind_display().lower()}{much}{words}"[:200]


def offer_of(batch: Batch) -> dict[str, Any] | None:
    """Return what happened and the plan asked for since, if any; nothing while all is well."""
    entry = last_trouble(batch)
    if entry is None:
        return None
    plan = plan_since(batch.site_id, entry.recorded_at)
    return {"words": reason_of(entry), "plan": None if plan is None else plan.pk}


def ask_plan(*, batch: Batch, now: datetime, by: Any = None) -> WeekPlan:
    """Ask for a new plan with what happened to a batch as its reason."""
    entry = last_trouble(batch)
    if entry is None:
        raise ShopError(
            f"Nothing is recorded of batch {batch.number} that its plan does not know of; ask "
            "for a new plan on the week's page.",
            code="nothing_happened",
        )
    first = clock.local(batch.planned_start, batch.site).date()
    week = week_of(first) if batch.plan is None else batch.plan.week
    return ask_because(
        site=batch.site,
        reason=reason_of(entry),
        since=entry.recorded_at,
        week=week,
        now=now,
        by=by,
    )
