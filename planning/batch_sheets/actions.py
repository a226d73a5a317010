"""Writes: mark a day's sheet as printed, which fixes its batches."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction
from django.db.models import F

from planning.batch_sheets.queries import batches_of
from planning.week_plan.models import Batch, BatchStatus
from shared.access.models import Site


@transaction.atomic
def mark_printed(*, site: Site, day: date, now: datetime) -> int:
    """Note that the sheet is on paper: from now on a new plan keeps its batches."""
    keys = [batch.pk for batch in batches_of(site, day) if batch.status == BatchStatus.PLANNED]
    return Batch.objects.filter(pk__in=keys).update(printed_at=now, version=F("version") + 1)


@transaction.atomic
def pin(*, batch: Batch, pinned: bool) -> Batch:
    """Pin a batch by hand, or let it go: a pinned one stays where it is in a new plan."""
    Batch.objects.filter(pk=batch.pk).update(pinned=pinned, version=F("version") + 1)
    batch.refresh_from_db()
    return batch
