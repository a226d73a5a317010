"""Writes: take planned pours out of the plan again."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from planning.batches.models import Batch, BatchStatus
from planning.pours.actions import ask_for_material
from planning.pours.models import Pour, PourStatus
from planning.schedule import actions, confirming, queries
from planning.schedule.telling import told_taken_out
from shared import clock
from shared.access.models import Site
from shared.change import change
from shared.errors import ShopError
from shared.units import week_of


@transaction.atomic
def take_out(*, pours: Sequence[Pour], reason: str, now: datetime, by: Any = None) -> None:
    """Free what is planned of pours, and ask for a new plan that says why."""
    withdraw_pours(pours=pours, now=now, reason=reason, by=by)
    plan_again(site=pours[0].order.site, reason=reason, now=now, by=by)


def plan_again(*, site: Site, reason: str, now: datetime, by: Any = None) -> None:
    """Ask for a new plan of all that is confirmed, and say why."""
    works_by = queries.confirmed_plan(site.pk)
    this_week = week_of(clock.local(now, site).date())
    week = this_week if works_by is None else max(works_by.week, this_week)
    actions.ask_plan(site=site, week=week, now=now, by=by, reason=reason)


@transaction.atomic
def withdraw_pours(
    *, pours: Sequence[Pour], now: datetime, reason: str = "", by: Any = None
) -> None:
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
    for pour in Pour.objects.filter(pk__in=shared | ids).select_related("order__site"):
        change(pour, status=PourStatus.ASKED)
        ask_for_material(pour)
        told_taken_out(pour, reason=reason, at=now, by=by)
    for site_id in {pour.order.site_id for pour in pours}:
        works_by = queries.confirmed_plan(site_id)
        if works_by is not None:
            dated = Pour.objects.filter(order__site=site_id, steps__planned_start__isnull=False)
            confirming.ask_for_steps(site_id, works_by.week, dated.distinct())


def _with_upper(ids: set[int]) -> set[int]:
    """Add the planned pours that stand on these, and on those."""
    found = set(ids)
    while True:
        upper = Pour.objects.filter(stands_on__in=found, status=PourStatus.PLANNED)
        more = set(upper.values_list("pk", flat=True)) - found
        if not more:
            return found
        found |= more
