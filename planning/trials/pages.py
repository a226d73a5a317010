"""What if: ask several questions of a plan and read the answers side by side."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from planning.core import plain
from planning.core import plan as core
from planning.schedule.models import WeekPlan
from planning.schedule.snapshot import week_days
from planning.trials.actions import ask_trial
from planning.trials.models import PlanTrial
from shared import clock
from shared.api.permissions import needs
from shared.errors import Invalid


@needs("plans:write")
def what_if(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the questions and the latest answers; take new questions."""
    plan = get_object_or_404(WeekPlan, pk=pk, site=request.site, plan__isnull=False)
    if request.method == "POST":
        try:
            ask_trial(plan=plan, questions=_asked(request), now=clock.now(), by=request.user)
        except Invalid as error:
            for wrong in error.problems:
                messages.error(request, wrong.detail)
        return redirect("what-if", pk=pk)
    problem = plain.from_plain(core.Problem, plan.problem)
    monday, sunday = week_days(plan.week)
    return render(
        request,
        "planning/trials/what_if.html",
        {
            "plan": plan,
            "people": problem.people,
            "mixers": problem.mixers,
            "friday": monday + timedelta(days=4),
            "saturday": sunday - timedelta(days=1),
            "trial": plan.trials.first(),
        },
    )


@needs("plans:write")
def what_if_answers(request: HttpRequest, pk: int) -> HttpResponse:
    """Return the answers of a trial, or that they are not there yet."""
    trial = get_object_or_404(PlanTrial, pk=pk, plan__site=request.site)
    return render(request, "planning/trials/what_if_answers.html", {"trial": trial})


def _asked(request: HttpRequest) -> list[dict[str, Any]]:
    """Return the questions whose field was filled in."""
    form = request.POST
    found: list[dict[str, Any]] = []
    if form.get("person"):
        found.append({"kind": "person", "person": form["person"]})
    if form.get("mixer"):
        found.append({"kind": "mixer", "mixer": form["mixer"]})
    if form.get("mixer_kg"):
        found.append({"kind": "mixer_kg", "mixer": form.get("bigger", ""), "kg": form["mixer_kg"]})
    if form.get("kelvin"):
        found.append({"kind": "shop_k", "kelvin": form["kelvin"]})
    if form.get("day"):
        found.append({"kind": "day", "day": form["day"], "like": form.get("like", "")})
    if form.get("minutes"):
        found.append({"kind": "late_per_pot", "minutes": form["minutes"]})
    return found
