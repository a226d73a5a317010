"""The trace as one page to print: from a lot forward, from a tool back."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from shared.api.permissions import needs
from shared.errors import ShopError
from shop import page_forms as forms
from shop.lots.actions import hold
from shop.lots.models import Lot
from shop.tools.models import Tool
from shop.trace import queries


@needs("trace:read")
@require_safe
def trace(request: Any) -> HttpResponse:
    """Show the trace of a lot or a tool, or ask for one."""
    lot, tool = (request.GET.get(n, "").replace("\0", "") for n in ("lot", "tool"))
    context: dict[str, Any] = {"may_hold": request.access.may("lots:write", request.site.pk)}
    if lot:
        found = _by(Lot.objects.select_related("material", "site"), lot, request)
        shown = queries.lot_trace(found)
        context |= {
            "lot": shown,
            "taken": shown.taken,
            "used": queries.total(shown.taken),
            "touched": [row for row in queries.touched_lots(found) if row.pk != found.pk],
        }
    elif tool:
        back = queries.tool_trace(_by(Tool.objects.all(), tool, request))
        context |= {"tool": back, "taken": back.taken}
    else:
        context["tools"] = Tool.objects.filter(site=request.site)
    return render(request, "shop/trace/trace.html", context)


def _by(rows: Any, asked: str, request: Any) -> Any:
    """Return the row of an id or of a code at the site."""
    found = rows.filter(site=request.site, pk=forms.row_id(asked)).first()
    return found or get_object_or_404(rows, site=request.site, code=asked)


@needs("lots:write")
@require_POST
def recall(request: Any) -> HttpResponse:
    """Hold a lot and every lot that went into the same castings."""
    lot = forms.chosen(request.POST, "lot", Lot.objects.filter(site=request.site))
    if lot is None:
        messages.error(request, "lot is missing; nothing was changed.")
        return redirect("trace")
    try:
        touched = queries.touched_lots(lot)
        held = hold([row.pk for row in touched], reason=forms.text(request.POST, "reason"))
        messages.success(request, f"{held} lots are held now, {len(touched)} were touched.")
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
    return redirect(f"{reverse('trace')}?lot={lot.pk}")
