"""A new plan beside the one the shop works by, before anybody confirms it."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render

from planning.schedule import comparison
from planning.schedule.models import PlanState, WeekPlan
from shared.api.permissions import needs


@needs("plans:read")
def compare(request: Any, pk: int) -> HttpResponse:
    """Show a plan beside the one before it; while it is worked out, how far it is."""
    plan = get_object_or_404(WeekPlan, pk=pk, site=request.site)
    before = comparison.plan_before(plan)
    context: dict[str, Any] = {
        "plan": plan,
        "before": before,
        "being_made": plan.state in (PlanState.WAITING, PlanState.SOLVING),
        "may_plan": request.access.may("plans:write", request.site.pk),
    }
    if plan.plan:
        compared, seen = comparison.compared_now(plan)
        context |= {**compared, "seen": seen}
    return render(request, "planning/schedule/compare.html", context)
