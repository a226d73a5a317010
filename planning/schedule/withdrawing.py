"""Writes: take planned pours out of the plan again."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import F

from planning.batches.models import Batch, BatchStatus
from planning.pours.actions import ask_for_material
from planning.pours.models import Pour, PourStatus
from planning.schedule import actions, confirming, queries
from shared import clock
from shared.access.models import Site
from shared.errors import ShopError
from shared.units import week_of


@transaction.atomic
def take_out(*, pours: Sequence[Pour], reason: str, now: datetime, by: Any = None) -> None:
    """Free what is planned of pours, and ask for a new plan that says why."""
    withdraw_pours(pours=pours, now=now)
    site = pours[0].order.site
    works_by = queries.confirmed_plan(site.pk)
    this_week = week_of(clock.local(now, site).date())
    week = this_week if works_by is None else max(works_by.week, this_week)
    actions.ask_plan(site=site, week=week, now=now, by=by, reason=reason)


@transaction.atomic
def withdraw_pours(*, pours: Sequence[Pour], now: datetime) -> None:
    """
    Take planned pours out of the plan again: their batches go, stock is freed.

    Pours that share a pot with them, or stand on them, go with them.
    """
    ids = _with_upper({pour.pk for pour in pours})
    Site.objects.select_for_update().filter(pk__in={p.order.site_id for p in pours}).first()
    batches = Batch.objects.filter(portions__lift__pour__in=ids).distinct()
    for batch in batches:
        if batch.status != BatchStatus.PLANNED:
            raise ShopError(
                f"Batch {batch.number} is {batch.get_status_display().lower()}; its pours can no "
                "longer be taken out of the plan.",
                code="batch_begun",
            )
    shared = set(
        Pour.objects.filter(lifts__portions__batch__in=batches).values_list("pk", flat=True)
    )
    confirming.remove_planned(batches, shared | ids)
    for pour in Pour.objects.filter(pk__in=shared | ids).select_related("order"):
        pour.status = PourStatus.ASKED
        pour.version = F("version") + 1
        pour.save(update_fields=["status", "version"])
        pour.refresh_from_db()
        ask_for_material(pour)


def _with_upper(ids: set[int]) -> set[int]:
    """Add the planned pours that stand on these, and on those."""
    found = set(ids)
    while True:
        upper = Pour.objects.filter(stands_on__in=found, status=PourStatus.PLANNED)
        more = set(upper.values_list("pk", flat=True)) - found
        if not more:
            return found
        found |= more
