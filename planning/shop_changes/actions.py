"""Writes: a change in the shop, with what it breaks in the confirmed plan; a mended plan."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from planning.schedule.actions import ask_plan
from planning.schedule.broken import PlanNow, plan_now
from planning.schedule.models import PlanState, WeekPlan
from shared import clock
from shared.access.models import Site
from shared.units import week_of
from shop import stores


@dataclass(frozen=True)
class Told:
    """What was entered, and what it breaks that held before."""

    reported: stores.Reported
    breaks: PlanNow
    broken_before: int


def report(*, site: Site, what: stores.ShopChange, now: datetime) -> Told:
    """Enter a change of who and what is there, and say what it breaks in the confirmed plan."""
    before = plan_now(site, now)
    reported = stores.report_change(site=site, what=what, now=now)
    after = plan_now(site, now)
    return Told(reported, after.without(before), len(before.broken))


def take_back(*, site: Site, table: str, ids: Iterable[int]) -> None:
    """Delete a change that does not hold."""
    stores.take_back_change(site=site, table=table, ids=ids)


@transaction.atomic
def ask_mended(*, site: Site, reason: str, now: datetime, by: Any = None) -> WeekPlan:
    """
    Ask for a plan that keeps as much of the confirmed one as the shop now allows.

    A plan of the site that waits already is the answer: it is worked out from the shop as it is
    when its turn comes.
    """
    Site.objects.select_for_update().get(pk=site.pk)
    rows = WeekPlan.objects.filter(site=site).defer("problem", "plan", "violations")
    waiting = rows.filter(state=PlanState.WAITING).order_by("-pk").first()
    if waiting is not None:
        return waiting
    works_by = rows.filter(state=PlanState.CONFIRMED).first()
    this_week = week_of(clock.local(now, site).date())
    week = this_week if works_by is None else max(works_by.week, this_week)
    return ask_plan(site=site, week=week, now=now, by=by, reason=reason)
