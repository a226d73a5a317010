"""The batch page: one step at a time, on a phone at arm's length, with or without a network."""

from __future__ import annotations

import secrets
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.staticfiles import finders
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from planning.batches.models import Batch, BatchEntry, EntryKind
from planning.weigh_in import (
    actions,
    alarms,
    from_paper,
    presence,
    quarantine,
    replan,
    scale_readings,
)
from planning.weigh_in.models import CastingQuarantine
from planning.weigh_in.page_mark import mark_of
from planning.weigh_in.page_state import batch_with_parts, state_of
from shared import clock
from shared.api.permissions import needs
from shared.errors import ShopError
from shared.photos.cleaning import clean_photo


class PhotoForm(forms.Form):
    """A photo for the log; `key` makes a second tap harmless."""

    photo = forms.FileField(
        widget=forms.FileInput(attrs={"accept": "image/*", "capture": "environment"}),
        error_messages={"required": "photo is missing; take or choose one."},
    )
    words = forms.CharField(label="What it shows", max_length=400, required=False)
    key = forms.CharField(widget=forms.HiddenInput, max_length=60)


def _batch(request: HttpRequest, pk: int) -> Batch:
    found = batch_with_parts(pk, request.site.pk)
    if found is None:
        raise Http404(f"There is no batch {pk} at {request.site}.")
    return found


@needs("batches:read")
def batch(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a batch, to be weighed, mixed and poured step by step."""
    found, now = _batch(request, pk), clock.now()
    presence.opened(batch=found, by=request.user, now=now)
    state = state_of(found, now)
    may_record = request.access.may("weighings:write", request.site.pk)
    return render(
        request,
        "planning/batches/batch.html",
        {
            "batch": found,
            "state": state,
            "at_it": presence.words_for(found, now, request.user),
            "may_record": may_record,
            "photo_form": PhotoForm(initial={"key": secrets.token_hex(12)}),
            "photos": [entry for entry in found.entries.all() if entry.photo],
            "day": clock.local(found.planned_start, request.site).date(),
        },
    )


@never_cache
@needs("batches:read")
def batch_state(request: HttpRequest, pk: int) -> JsonResponse:
    """Hand the page what is recorded by now."""
    found, now = _batch(request, pk), clock.now()
    presence.opened(batch=found, by=request.user, now=now)
    return JsonResponse(state_of(found, now))


@never_cache
@needs("batches:read")
def batch_mark(request: HttpRequest, pk: int) -> JsonResponse:
    """
    Tell whether anything of a batch has changed, by a short text that is another one then.

    It is asked every few seconds by whoever has the batch open, and says who that is.
    """
    batch = Batch.objects.filter(pk=pk, site=request.site).select_related("site").first()
    found = None if batch is None else mark_of(pk, request.site.pk)
    if batch is None or found is None:
        raise Http404(f"There is no batch {pk} at {request.site}.")
    now = clock.now()
    presence.opened(batch=batch, by=request.user, now=now)
    return JsonResponse({"mark": found, "at_it": presence.words_for(batch, now, request.user)})


@never_cache
@needs("batches:read")
def site_alarms(request: HttpRequest) -> JsonResponse:
    """Tell every open page of the site which pots are in trouble."""
    rows = [
        {
            "id": entry.pk,
            "batch": entry.batch_id,
            "words": f"{entry.get_kind_display()}: batch {entry.batch.number}, told "
            f"{clock.local(entry.at, request.site):%H:%M}"
            + ("" if entry.by is None else f" by {entry.by}"),
            "path": reverse("batch", args=[entry.batch_id]),
        }
        for entry in alarms.open_entries(site_id=request.site.pk)
    ]
    return JsonResponse({"alarms": rows})


@require_POST
@needs("weighings:write")
def add_photo(request: HttpRequest, pk: int) -> HttpResponse:
    """Add a photo with its remark to a batch's log."""
    found = get_object_or_404(Batch, pk=pk, site=request.site)
    form = PhotoForm(request.POST, request.FILES)
    if not form.is_valid():
        for words in form.errors.values():
            messages.error(request, " ".join(words))
        return redirect("batch", pk=pk)
    now = clock.now()
    try:
        actions.record_entry(
            batch=found,
            kind=EntryKind.REMARK,
            key=f"photo:{form.cleaned_data['key']}",
            at=now,
            now=now,
            by=request.user,
            words=form.cleaned_data["words"],
            photo=clean_photo(form.cleaned_data["photo"]),
        )
        messages.success(request, "The photo is in the log.")
    except ShopError as error:
        messages.error(request, error.message)
    return redirect("batch", pk=pk)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@needs("weighings:write")
def enter_paper(request: HttpRequest, pk: int) -> HttpResponse:
    """Take in what was written on a batch's paper, all of it in one form."""
    found = _batch(request, pk)
    problem = None
    if request.method == "POST":
        key = f"paper:{found.pk}:{request.POST.get('key', '')}"[:80]
        paper = from_paper.Paper(found, request.POST, clock.now(), request.user, key)
        try:
            made = from_paper.enter(paper)
            messages.success(request, f"{made} entries of the paper are recorded.")
            return redirect("batch", pk=pk)
        except ShopError as error:
            problem = error
            found = _batch(request, pk)
    return render(
        request,
        "planning/batches/from_paper.html",
        {
            "batch": found,
            "problem": problem,
            "typed": request.POST,
            "fields": from_paper.fields_of(found, request.POST),
            "day": request.POST.get("day")
            or f"{clock.local(found.planned_start, request.site):%Y-%m-%d}",
            "key": request.POST.get("key") or secrets.token_hex(12),
        },
        status=422 if problem else 200,
    )


@require_POST
@needs("weighings:write")
def ask_plan(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask for a new plan because of what happened to the batch, and open old beside new."""
    try:
        plan = replan.ask_plan(batch=_batch(request, pk), now=clock.now(), by=request.user)
    except ShopError as error:
        messages.error(request, error.message)
        return redirect("batch", pk=pk)
    return redirect("plan-compare", pk=plan.pk)


@require_POST
@needs("quarantines:write")
def release_quarantine(request: HttpRequest, pk: int) -> HttpResponse:
    """Let a casting out of quarantine with a reason."""
    found = get_object_or_404(CastingQuarantine, pk=pk, pour__order__site=request.site)
    try:
        quarantine.release(
            quarantine=found,
            reason=request.POST.get("reason", ""),
            now=clock.now(),
            by=request.user,
        )
        messages.success(request, f"{found.pour} is out of quarantine.")
    except ShopError as error:
        messages.error(request, error.message)
    return redirect("pour", pk=found.pour_id)


@needs("batches:read")
def photo(request: HttpRequest, pk: int) -> FileResponse:
    """Show a photo of a batch's log to people of its site."""
    entry = get_object_or_404(
        BatchEntry.objects.exclude(photo=""), pk=pk, batch__site=request.site
    )
    return FileResponse(entry.photo.open("rb"), content_type="image/jpeg")


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
