"""The batch page: one step at a time, on a phone at arm's length, with or without a network."""

from __future__ import annotations

from typing import Any

from django.contrib.staticfiles import finders
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.cache import never_cache

from planning.week_plan.models import Batch
from planning.weigh_in import scale_readings
from planning.weigh_in.page_state import batch_with_parts, state_of
from shared import clock
from shared.api.permissions import needs


def _batch(request: HttpRequest, pk: int) -> Batch:
    found = batch_with_parts(pk, request.site.pk)
    if found is None:
        raise Http404(f"There is no batch {pk} at {request.site}.")
    return found


@needs("batches:read")
def batch(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a batch, to be weighed, mixed and poured step by step."""
    found = _batch(request, pk)
    state = state_of(found, clock.now())
    may_record = request.access.may("weighings:write", request.site.pk)
    return render(
        request,
        "planning/batches/batch.html",
        {
            "batch": found,
            "state": state,
            "may_record": may_record,
            "day": clock.local(found.planned_start, request.site).date(),
        },
    )


@never_cache
@needs("batches:read")
def batch_state(request: HttpRequest, pk: int) -> JsonResponse:
    """Hand the page what is recorded by now."""
    return JsonResponse(state_of(_batch(request, pk), clock.now()))


@never_cache
@needs("weighings:read")
def scale(request: HttpRequest, pk: int) -> JsonResponse:
    """Tell what the batch's scale shows right now; `kg` is null while it is silent."""
    found = get_object_or_404(Batch.objects.select_related("scale"), pk=pk, site=request.site)
    silent: dict[str, Any] = {"kg": None, "stable": False}
    if found.scale is None:
        return JsonResponse(silent)
    row = scale_readings.newest(site_id=request.site.pk, scale=found.scale.code, now=clock.now())
    return JsonResponse(row or silent)


@never_cache
def keeper(request: HttpRequest) -> HttpResponse:
    """Serve the script that keeps batch pages on the device; its place decides what it may see."""
    path = finders.find("house/keeper.js")
    assert isinstance(path, str)
    with open(path, encoding="utf-8") as file:
        return HttpResponse(file.read(), content_type="text/javascript")
