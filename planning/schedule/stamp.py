"""A stamp of all that a plan rests on: two equal ones mean that nothing has changed between."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from typing import Any

from planning.batches.models import Batch, BatchStatus
from planning.clocks.models import Cure
from planning.pours.models import Pour, PourStatus, PourStep
from planning.rules.models import PlanningRules
from planning.schedule.models import WeekPlan
from shop import stores

OPEN = (PourStatus.ASKED, PourStatus.PLANNED, PourStatus.POURING, PourStatus.CURING)


def stamp(site_id: int) -> str:
    """
    Return the stamp of a site as it is stored now.

    A fixed number of short queries, so that it can be compared while a lock is held, which the
    gathering and checking of a plan are too long for.
    """
    digest = hashlib.sha256()
    for rows in _rows(site_id):
        digest.update(repr(list(rows)).encode())
    digest.update(stores.stamp(site_id).encode())
    return digest.hexdigest()


def _rows(site_id: int) -> Iterator[Any]:
    pours = Pour.objects.filter(order__site_id=site_id, status__in=OPEN)
    yield pours.order_by("pk").values_list("pk", "version", "status")
    steps = PourStep.objects.filter(pour__in=pours)
    yield steps.order_by("pk").values_list("pk", "done_at", "planned_start", "printed_at")
    batches = Batch.objects.filter(site_id=site_id).exclude(
        status__in=[BatchStatus.POURED, BatchStatus.SCRAPPED, BatchStatus.CANCELLED]
    )
    yield batches.order_by("pk").values_list("pk", "version", "status")
    running = Cure.objects.filter(lift__pour__order__site_id=site_id, done_at__isnull=True)
    yield running.order_by("pk").values_list("pk", "version", "demould_due_at")
    yield PlanningRules.objects.filter(site_id=site_id).values_list("version")
    plans = WeekPlan.objects.filter(site_id=site_id, confirmed_at__isnull=False)
    yield plans.order_by("-confirmed_at", "-pk").values_list("pk", "confirmed_at")[:1]
