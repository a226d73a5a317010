"""The part of the Week page that says why pours are late or left out."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from planning.core import plain
from planning.core import plan as core
from planning.schedule.board import late_pours
from planning.schedule.models import WeekPlan
from planning.schedule.reasons import wanted
from shared import clock
from shared.api.permissions import needs

WATCHED_FOR = timedelta(minutes=10)
"""A page that waits longer than this for reasons stops asking."""


@needs("plans:read")
def reasons(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the reasons found so far; the page asks again until all are there."""
    plan = get_object_or_404(WeekPlan, pk=pk, site=request.site, plan__isnull=False)
    problem = plain.from_plain(core.Problem, plan.problem)
    answer = plain.from_plain(core.Plan, plan.plan)
    return render(request, "planning/schedule/reasons.html", told(plan, problem, answer))


def told(plan: WeekPlan, problem: core.Problem, answer: core.Plan) -> dict[str, Any]:
    """Return what the page says of unplaced and late pours, the unplaced first."""
    names = {pour.id: pour.name or pour.id for pour in problem.pours}
    said = {one.pour: one for one in answer.late}
    late = late_pours(problem, answer)
    still_to_come = wanted(plan) and (bool(late) or any(not u.change for u in answer.unplaced))
    return {
        "plan": plan,
        "without_place": [(names.get(u.pour, u.pour), u) for u in answer.unplaced],
        "late": [
            {"pour": pour, "name": names[pour], "late_min": minutes, "why": said.get(pour)}
            for pour, minutes in late
        ],
        "looking": still_to_come and _fresh(plan.ready_at),
        "looked": not wanted(plan),
    }


def _fresh(ready_at: datetime | None) -> bool:
    return ready_at is not None and clock.now() - ready_at < WATCHED_FOR
