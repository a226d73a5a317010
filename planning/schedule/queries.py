"""Reads: plans, and what stands where and when."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db.models import Q, QuerySet

from planning.schedule.models import PlanState, WeekPlan

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


def current_plan(site_id: int, week: str) -> WeekPlan | None:
    """Return the plan a week's page shows: one being made or ready, else the confirmed one."""
    rows = WeekPlan.objects.filter(site_id=site_id, week=week)
    open_states = Q(state__in=[PlanState.WAITING, PlanState.SOLVING, PlanState.READY])
    newest = rows.filter(open_states).order_by("-revision").first()
    return newest or rows.filter(state=PlanState.CONFIRMED).first()
