"""A short text that changes whenever a batch's page would: cheap enough to be asked every 4 s."""

from __future__ import annotations

from hashlib import sha256

from django.db.models import Count, Max

from planning.batches.models import Batch, BatchEntry, Weighing
from planning.clocks.models import TemperatureReading
from planning.pours.models import PourStep
from planning.schedule.models import WeekPlan
from shop import stores


def mark_of(pk: int, site_id: int) -> str | None:
    """Return the mark of a site's batch, or nothing where there is no such batch."""
    batch = Batch.objects.filter(pk=pk, site=site_id).prefetch_related("people").first()
    if batch is None:
        return None
    info = stores.system(batch.system_id)
    cans = stores.lot_states(site_id, [one.id for one in info.materials])
    entries = BatchEntry.objects.filter(batch=pk).aggregate(last=Max("pk"))
    weighings = Weighing.objects.filter(line__batch=pk).aggregate(last=Max("pk"))
    air = TemperatureReading.objects.filter(site=site_id).aggregate(last=Max("pk"))
    steps = PourStep.objects.filter(pour__lifts__portions__batch=pk).aggregate(
        signed=Count("done_at")
    )
    plans = WeekPlan.objects.filter(site=site_id).aggregate(last=Max("pk"))
    seen = (
        batch.version,
        batch.status,
        batch.plan_id,
        sorted(person.pk for person in batch.people.all()),
        entries["last"],
        weighings["last"],
        air["last"],
        steps["signed"],
        plans["last"],
        cans,
    )
    return sha256(repr(seen).encode()).hexdigest()[:16]
