"""Reads: plans, and what stands where and when."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db.models import Q, QuerySet

from planning.schedule.models import PlanState, WeekPlan
from shared.units import parse_week

LOST_AFTER = timedelta(seconds=20)


EXPLAINED_FOR = timedelta(days=1)


def waiting_plans(now: datetime) -> list[int]:
    """Return plans whose message to the worker seems lost."""
    return list(
        WeekPlan.objects.filter(state=PlanState.WAITING, asked_at__lt=now - LOST_AFTER)
        .order_by("asked_at")
        .values_list("pk", flat=True)[:20]
    )


def unexplained_plans(now: datetime) -> list[int]:
    """Return today's plans whose late pours nobody has looked into."""
    rows = WeekPlan.objects.filter(
        state__in=[PlanState.READY, PlanState.CONFIRMED],
        ready_at__range=(now - EXPLAINED_FOR, now - LOST_AFTER),
    ).order_by("-ready_at")
    found = rows.values_list("pk", "progress")[:20]
    return [pk for pk, progress in found if progress.get("reasons") != "done"]


def plans(site_id: int, week: str | None = None) -> QuerySet[WeekPlan]:
    """Return a site's plans, the newest first, without their long documents."""
    rows = WeekPlan.objects.filter(site_id=site_id).defer("problem", "plan", "violations")
    return rows if week is None else rows.filter(week=week)


def confirmed_plan(site_id: int) -> WeekPlan | None:
    """Return the plan a site works by."""
    rows = WeekPlan.objects.filter(site_id=site_id, state=PlanState.CONFIRMED)
    return rows.defer("problem", "plan", "violations").order_by("-confirmed_at").first()


def plans_of(site_id: int, week: str) -> QuerySet[WeekPlan]:
    """Return a site's plans that were asked for a week or reach into it, the newest first."""
    return plans(site_id).filter(_reaches(week)).order_by("-pk")


def _reaches(week: str) -> Q:
    monday = parse_week(week)
    reaches = Q(first_day__lt=monday + timedelta(days=7), last_day__gte=monday)
    return Q(week=week) | reaches


def current_plan(site_id: int, week: str) -> WeekPlan | None:
    """
    Return the plan a week's page shows.

    The site's newest plan that is being made or ready and reaches into the week, else the one
    the site works by if it does, else the last one of that week that was worked by.
    """
    rows = WeekPlan.objects.filter(_reaches(week), site_id=site_id)
    open_states = Q(state__in=[PlanState.WAITING, PlanState.SOLVING, PlanState.READY])
    works_by = confirmed_plan(site_id)
    newer = rows.filter(open_states, pk__gt=0 if works_by is None else works_by.pk)
    known = rows.filter(state__in=[PlanState.CONFIRMED, PlanState.REPLACED])
    return (
        newer.order_by("-pk").first()
        or rows.filter(state=PlanState.CONFIRMED).first()
        or known.filter(confirmed_at__isnull=False).order_by("-confirmed_at").first()
    )
