"""Writes: ask for a new plan because something has happened."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import transaction

from planning.schedule import actions
from planning.schedule.models import WeekPlan
from shared import clock
from shared.access.models import Site
from shared.units import week_of


def plan_since(site_id: int, moment: datetime) -> WeekPlan | None:
    """Return the first plan asked for after something was recorded: it knows of it."""
    rows = WeekPlan.objects.filter(site_id=site_id, asked_at__gte=moment)
    return rows.defer("problem", "plan", "violations").order_by("asked_at", "pk").first()


@transaction.atomic
def ask_because(
    *, site: Site, reason: str, since: datetime, week: str, now: datetime, by: Any = None
) -> WeekPlan:
    """
    Ask for a new plan of a week, or of this week when that has passed, and say why.

    A second tap finds the plan that the first one asked for.
    """
    Site.objects.select_for_update().get(pk=site.pk)
    found = plan_since(site.pk, since)
    if found is not None:
        return found
    week = max(week, week_of(clock.local(now, site).date()))
    return actions.ask_plan(site=site, week=week, now=now, by=by, reason=reason)
