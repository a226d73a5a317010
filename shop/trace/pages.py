"""The trace as one page to print: from a lot forward, from a tool back."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from shared import clock
from shared.api.permissions import needs
from shared.codes.finding import find as find_code
from shared.errors import Invalid, ShopError
from shop import page_forms as forms
from shop.lots.models import Lot
from shop.recalls import actions
from shop.tools.models import Tool
from shop.trace import queries
from shop.trace.sides import sides


@needs("trace:read")
@require_safe
def trace(request: Any) -> HttpResponse:
    """
    Show the trace of a lot or a tool, or ask for one.

    `lot` and `tool` are ids, as links give them; `code` is what stands on a label. They are kept
    apart because a maker may well call a lot 17.
    """
    code = request.GET.get("code", "").replace("\0", "").strip()
    context: dict[str, Any] = {"may_hold": request.access.may("lots:write", request.site.pk)}
    if "lot" in request.GET:
        found = _by(Lot.objects.select_related("material", "site"), "lot", request)
        shown = queries.lot_trace(found)
        context |= {
            "lot": shown,
            "taken": shown.taken,
            "used": queries.total(row for row in shown.taken if row.lot == found),
            "waste": shown.waste,
            "lost": queries.total(row for row in shown.lost if row.lot == found),
            "sides": sides([row.counterpart for row in (*shown.taken, *shown.lost, *shown.waste)]),
            "touched": [row for row in queries.touched_lots(found) if row.pk != found.pk],
        }
    elif "tool" in request.GET:
        back = queries.tool_trace(_by(Tool.objects.all(), "tool", request))
        context |= {
            "tool": back,
            "taken": back.taken,
            "waste": back.waste,
            "sides": sides([row.counterpart for row in (*back.taken, *back.waste)]),
        }
    else:
        named = list(queries.lots_named(request.site, code)) if code else []
        if len(named) == 1:
            return redirect(f"{reverse('trace')}?lot={named[0].pk}")
        if code and not named:
            try:
                return redirect(_of_label(request, code))
            except Invalid as error:
                messages.warning(request, error.message)
        context |= {"tools": Tool.objects.filter(site=request.site), "named": named, "code": code}
    return render(request, "shop/trace/trace.html", context)


def _of_label(request: Any, code: str) -> str:
    """Return the address of the trace of what a label is stuck on."""
    found = find_code(request.site, code, wanted=("lot", "can", "tool"))
    if found.kind == "tool":
        return f"{reverse('trace')}?tool={found.pk}"
    lot = Lot.objects.get(containers=found.pk).pk if found.kind == "can" else found.pk
    return f"{reverse('trace')}?lot={lot}"


def _by(rows: Any, name: str, request: Any) -> Any:
    return get_object_or_404(rows, site=request.site, pk=forms.row_id(request.GET[name]))


@needs("lots:write")
@require_POST
def recall(request: Any) -> HttpResponse:
    """Recall a lot, with every lot that went into the same castings."""
    lot = forms.chosen(request.POST, "lot", Lot.objects.filter(site=request.site))
    if lot is None:
        messages.error(request, "lot is missing; nothing was changed.")
        return redirect("trace")
    try:
        reason = forms.text(request.POST, "reason")
        found = actions.recall(lot_id=lot.pk, reason=reason, at=clock.now(), by=request.user)
        messages.success(
            request,
            f"Lot {lot.code} is recalled: {found.stops.count()} lots are held, with all that "
            "comes of them later.",
        )
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
    return redirect(f"{reverse('trace')}?lot={lot.pk}")
