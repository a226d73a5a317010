"""Pages for counting shelves."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from shared import clock
from shared.api.permissions import needs
from shared.codes.finding import find as find_code
from shared.errors import Invalid, ShopError
from shop import page_forms as forms
from shop.counting import actions, queries
from shop.counting.models import CountLine, CountStatus, CycleCount
from shop.lots.models import Container
from shop.sites.models import Location

LATEST = 30


@needs("movements:read")
@require_safe
def counts(request: Any) -> HttpResponse:
    """List counts, and the shelves whose turn it is."""
    rows = CycleCount.objects.filter(site=request.site).select_related("location", "started_by")
    return render(
        request,
        "shop/counting/counts.html",
        {
            "rows": rows[:LATEST],
            "turns": queries.shelves_in_turn(request.site),
            "may_count": request.access.may("movements:write", request.site.pk),
        },
    )


@needs("movements:write")
@require_POST
def start(request: Any) -> HttpResponse:
    """Begin to count a shelf."""
    try:
        shelves = Location.objects.filter(site=request.site, in_use=True)
        shelf = forms.chosen(request.POST, "location", shelves)
        if shelf is None:
            raise Invalid.one("location", "required", "location is missing; choose a shelf.")
        count = actions.start(
            location=shelf,
            by=request.user,
            at=clock.now(),
            tolerance_percent=forms.number(request.POST, "tolerance", "percent"),
        )
    except ShopError as error:
        messages.error(request, error.message)
        return redirect("counts")
    return redirect("count", count.pk)


@needs("movements:read")
@require_safe
def count(request: Any, pk: int) -> HttpResponse:
    """Show what is to be counted, blind; and the differences once all is counted."""
    rows = CycleCount.objects.select_related("location", "started_by", "approved_by")
    found = get_object_or_404(rows, pk=pk, site=request.site)
    lines = list(queries.lines_of(found))
    complete = queries.is_complete(found)
    chosen = request.GET.get("container", "")
    return render(
        request,
        "shop/counting/count.html",
        {
            "count": found,
            "lines": lines,
            "complete": complete,
            "differences": _differences(lines) if complete else [],
            "chosen": next((row for row in lines if str(row.container_id) == chosen), None),
            "is_open": found.status == CountStatus.OPEN,
            "may_count": request.access.may("movements:write", request.site.pk),
        },
    )


def _differences(lines: list[CountLine]) -> list[tuple[CountLine, Decimal, Decimal]]:
    return [(line, queries.counted(line), queries.variance(line)) for line in lines]


@needs("movements:write")
@require_POST
def button(request: Any, pk: int, button: str) -> HttpResponse:
    """Write a figure down, approve, or give up."""
    found = get_object_or_404(CycleCount, pk=pk, site=request.site)
    verbs = {"approve": actions.approve, "cancel": actions.cancel}
    try:
        if button == "figure":
            messages.success(request, _figure(request, found))
        elif button in verbs:
            verbs[button](count_id=found.pk, by=request.user, at=clock.now())
            done = "Approved and booked." if button == "approve" else "Given up."
            messages.success(request, done)
        else:
            raise Http404(f"There is no button {button}.")
    except ShopError as error:
        messages.error(request, f"{error.message} Nothing was changed.")
    return redirect("count", pk)


def _figure(request: Any, found: CycleCount) -> str:
    code = forms.text(request.POST, "code", 400)
    named = find_code(request.site, code, wanted=("can",))
    container = Container.objects.select_related("lot__material").get(pk=named.pk)
    figure = forms.number(request.POST, "figure", container.lot.material.unit)
    line = actions.write_down(
        count_id=found.pk,
        container_id=container.pk,
        figure=figure,
        by=request.user,
        at=clock.now(),
    )
    again = line.second_wanted and line.second is None
    return f"{container.code} is written down{'; somebody else counts it again' if again else ''}."
