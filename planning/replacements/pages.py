"""Page: replacements of tools that should be ordered soon, accepted or declined."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from planning.replacements import actions
from planning.replacements.models import ReplacementDecision
from planning.replacements.queries import proposals
from shared import clock
from shared.api.permissions import needs
from shared.errors import ShopError

DECISIONS_SHOWN = 50


@needs("tool_orders:read")
@require_safe
def replacements(request: HttpRequest) -> HttpResponse:
    """List what should be ordered, and what was decided lately."""
    decided = ReplacementDecision.objects.filter(tool__site=request.site)
    return render(
        request,
        "planning/replacements/replacements.html",
        {
            "proposals": proposals(request.site),
            "decided": decided.select_related("tool", "order", "by")[:DECISIONS_SHOWN],
            "may_order": request.access.may("tool_orders:write", request.site.pk),
        },
    )


@needs("tool_orders:write")
@require_POST
def decide(request: HttpRequest) -> HttpResponse:
    """Accept or decline one."""
    typed = request.POST.get("tool", "")
    tool_id = int(typed) if typed.isascii() and typed.isdigit() and len(typed) < 19 else 0
    accepted = request.POST.get("decision") == "accept"
    try:
        made = actions.decide(
            site=request.site,
            tool_id=tool_id,
            accepted=accepted,
            reason=request.POST.get("reason", "").replace("\0", "").strip()[:400],
            now=clock.now(),
            by=request.user,
        )
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
        return redirect("replacements")
    words = "Declined."
    if made.order is not None:
        words = f"Order {made.order.number} is taken in; plan its week next."
    messages.success(request, words)
    return redirect("replacements")
