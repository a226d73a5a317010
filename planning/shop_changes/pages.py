"""Report a change: who is away, what is out of use, and what of the plan that breaks."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from planning.schedule.broken import PlanNow, plan_now
from planning.shop_changes import actions
from planning.shop_changes.page_forms import ShopChangeForm
from shared import clock
from shared.api.permissions import needs
from shared.errors import Invalid, ShopError
from shop import stores

MOST_SHOWN = 40
"""So many broken rules are listed; the rest are counted."""


@require_safe
@needs("plans:read")
def changes(request: HttpRequest) -> HttpResponse:
    """List what can be reported, what of the plan is broken now, and what is entered ahead."""
    site, now = request.site, clock.now()
    found = plan_now(site, now)
    return render(
        request,
        "planning/shop_changes/changes.html",
        {
            "kinds": stores.SHOP_CHANGES,
            "coming": stores.coming_changes(site, now),
            "may_report": request.access.may("availability:write", site.pk),
            **_broken(request, found),
        },
    )


def _broken(request: HttpRequest, found: PlanNow) -> dict[str, Any]:
    return {
        "plan": found.plan,
        "broken": found.broken[:MOST_SHOWN],
        "more": max(0, len(found.broken) - MOST_SHOWN),
        "may_plan": request.access.may("plans:write", request.site.pk),
    }


@require_http_methods(["GET", "HEAD", "POST"])
@needs("availability:write")
def enter(request: HttpRequest, kind: str) -> HttpResponse:
    """Show the form of one kind of change; once entered, say at once what it breaks."""
    if kind not in stores.SHOP_CHANGES:
        raise Http404
    now = clock.now()
    data = request.POST if request.method == "POST" else None
    form = ShopChangeForm(data, kind=kind, site=request.site, now=now)
    context: dict[str, Any] = {"form": form, "kind": kind, "title": stores.SHOP_CHANGES[kind]}
    if data is not None and form.is_valid():
        try:
            told = actions.report(site=request.site, what=form.change(), now=now)
        except ShopError as error:
            _mark(form, error)
        except ValidationError as error:
            form.add_error(None, error.messages)
        else:
            context |= {"told": told, **_broken(request, told.breaks)}
            return render(request, "planning/shop_changes/told.html", context)
    status = 422 if form.errors else 200
    return render(request, "planning/shop_changes/enter.html", context, status=status)


def _mark(form: ShopChangeForm, error: ShopError) -> None:
    """Put a refusal at the field it names, where the form has it."""
    here = {"starts_at": "from_day", "ends_at": "to_day", "mixer": "thing", "place": "thing"}
    for problem in error.problems if isinstance(error, Invalid) else ():
        name = problem.pointer.removeprefix("#/")
        name = here.get(name, name)
        form.add_error(name if name in form.fields else None, problem.detail)
    if not form.errors:
        form.add_error(None, error.message)


@require_POST
@needs("availability:write")
def take_back(request: HttpRequest) -> HttpResponse:
    """Delete a change that does not hold after all."""
    ids = [int(key) for key in request.POST.getlist("row") if key.isdecimal() and len(key) < 18]
    try:
        actions.take_back(site=request.site, table=request.POST.get("list", ""), ids=ids)
        messages.success(request, "The change is taken back.")
    except ShopError as error:
        messages.error(request, error.message)
    return redirect("shop-changes")


@require_POST
@needs("plans:write")
def mend(request: HttpRequest) -> HttpResponse:
    """Ask for a plan that moves as little as it can, and go to where it is compared."""
    reason = request.POST.get("reason", "").strip()[:200]
    try:
        plan = actions.ask_mended(
            site=request.site, reason=reason, now=clock.now(), by=request.user
        )
    except ShopError as error:
        messages.error(request, error.message)
        return redirect("shop-changes")
    return redirect("plan-compare", plan.pk)
