"""Pages: the routes and what the shop's own records make of their hands-on times."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render

from planning.core.step_times import Pace
from planning.pours.step_times import kind_of, paces, words_of
from planning.routes.models import Route
from planning.rules.actions import rules_of
from shared.api.permissions import needs


@needs("routes:read")
def routes(request: Any) -> HttpResponse:
    """List the routes."""
    rows = Route.objects.prefetch_related("steps")
    return render(request, "planning/routes/routes.html", {"routes": rows})


@needs("routes:read")
def route(request: Any, code: str) -> HttpResponse:
    """Show a route's steps with the minutes a plan takes for them, and why."""
    found = get_object_or_404(Route, code=code)
    known = paces(request.site.pk)
    own_times = rules_of(request.site.pk).own_times
    halves: dict[str, list[dict[str, Any]]] = {}
    steps = found.steps.prefetch_related("materials__material")
    for step in steps.order_by("half", "phase", "order"):
        pace = Pace() if step.coats else known.get(kind_of(step.name), Pace())
        used = pace.minutes(step.hands_min) if own_times else step.hands_min
        row = {
            "step": step,
            "used_min": used,
            "words": _coat_words(known) if step.coats else words_of(pace, step.hands_min),
            "differs": used != step.hands_min,
        }
        halves.setdefault(f"{step.half}{step.phase}", []).append(row)
    parts = [
        {"half": half, "words": words, "rows": halves[f"{half}{phase}"]}
        for half in ("A", "B")
        for phase, words in (("before", "Before the pour"), ("after", "After the cure"))
        if f"{half}{phase}" in halves
    ]
    context = {"route": found, "parts": parts, "own_times": own_times}
    return render(request, "planning/routes/route.html", context)


def _coat_words(known: dict[str, Pace]) -> str:
    kinds = {name: pace for name, pace in known.items() if name.endswith(" coat")}
    found = [
        f"{name.removesuffix(', coat')}: {pace.records} recorded, times {pace.factor:.2f}"
        for name, pace in sorted(kinds.items())
    ]
    first = "By the area and the release recipe of the pour."
    return f"{first} {'; '.join(found)}." if found else f"{first} No coat is recorded yet."
