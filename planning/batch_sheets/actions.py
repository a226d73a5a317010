"""Writes: mark a day's sheet as printed, which fixes its batches and last steps."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from django.db import transaction

from planning.batch_sheets.queries import revision_of
from planning.batch_sheets.reading import batches_of, steps_of
from planning.batches.changes import planned_of
from planning.batches.models import Batch, BatchStatus, SheetPrint
from planning.pours.models import PourStep
from shared.access.models import Site
from shared.change import change, change_all


@transaction.atomic
def mark_printed(*, site: Site, day: date, now: datetime, by: Any = None) -> SheetPrint:
    """Note that the sheet is on paper: from now on a new plan keeps what it says."""
    batches = list(batches_of(site, day))
    steps = list(steps_of(site, day))
    waiting = [step.pk for step in steps if step.done_at is None]
    PourStep.objects.filter(pk__in=waiting).update(printed_at=now)
    keys = [batch.pk for batch in batches if batch.status == BatchStatus.PLANNED]
    change_all(Batch.objects.filter(pk__in=keys), printed_at=now)
    return SheetPrint.objects.create(
        site=site,
        day=day,
        printed_at=now,
        by=by,
        revision=revision_of(site, day, batches),
        planned=planned_of(site, batches, steps),
    )


def pin(*, batch: Batch, pinned: bool) -> Batch:
    """Pin a batch by hand, or let it go: a pinned one stays where it is in a new plan."""
    return change(batch, pinned=pinned)
