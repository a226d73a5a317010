"""Buttons of the pour page: a casting goes into an oven, comes out, or was never in it."""

from __future__ import annotations

import secrets

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_POST

from planning.clocks import ovens
from planning.clocks.models import OvenStay
from planning.cures.page_forms import OutOfOvenForm, OvenForm
from planning.cures.pages import _page, _pour
from shared import clock
from shared.api.permissions import needs
from shared.errors import Invalid, ShopError
from shared.templatetags.units import moment


@require_POST
@needs("cures:write")
def into_oven(request: HttpRequest, pk: int) -> HttpResponse:
    """Record that the casting went into an oven."""
    found = _pour(request, pk)
    form = OvenForm(request.POST, zone=clock.zone(request.site.time_zone))
    if not form.is_valid():
        return _page(request, found, 422, oven=form)
    now = clock.now()
    try:
        stay = ovens.into_oven(
            pour=found,
            set_c=form.cleaned_data["set_c"],
            at=form.cleaned_data["at"] or now,
            now=now,
            key=f"page:{secrets.token_hex(12)}",
            by=request.user,
        )
    except Invalid as error:
        pointer = error.problems[0].pointer.removeprefix("#/")
        form.add_error(pointer if pointer in form.fields else None, error.message)
        return _page(request, found, 422, oven=form)
    except ShopError as error:
        form.add_error(None, error.message)
        return _page(request, found, 422, oven=form)
    messages.success(request, f"{found} is in the oven at {stay.set_c} °C. Say when it comes out.")
    return redirect("pour", pk=pk)


def _stay(request: HttpRequest, pk: int, stay: int) -> OvenStay:
    rows = OvenStay.objects.select_related("pour__order__site")
    return get_object_or_404(rows, pk=stay, pour=pk, pour__order__site=request.site)


@require_POST
@needs("cures:write")
def out_of_oven(request: HttpRequest, pk: int, stay: int) -> HttpResponse:
    """Record that the casting came out of its oven."""
    row, now = _stay(request, pk, stay), clock.now()
    form = OutOfOvenForm(request.POST, zone=clock.zone(request.site.time_zone))
    if not form.is_valid():
        return _page(request, _pour(request, pk), 422, out=form)
    try:
        at = form.cleaned_data["at"] or now
        out = ovens.out_of_oven(stay=row, at=at, now=now, by=request.user)
    except ShopError as error:
        form.add_error("at" if isinstance(error, Invalid) else None, error.message)
        return _page(request, _pour(request, pk), 422, out=form)
    when = moment(out.out_at, request.site.time_zone)
    messages.success(request, f"{row.pour} came out of the oven {when}; it cools from then on.")
    return redirect("pour", pk=pk)


@require_POST
@needs("cures:write")
def stay_wrong(request: HttpRequest, pk: int, stay: int) -> HttpResponse:
    """Mark a stay in the oven wrong, with the reason."""
    row = _stay(request, pk, stay)
    try:
        ovens.mark_stay_wrong(
            stay=row,
            reason=request.POST.get("reason", "")[:200],
            now=clock.now(),
            by=request.user,
        )
        messages.success(request, "That stay in the oven no longer counts.")
    except ShopError as error:
        messages.error(request, error.message)
    return redirect("pour", pk=pk)
