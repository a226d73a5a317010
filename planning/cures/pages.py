"""The page of a pour: its lifts and clocks, its steps, temperatures, and taking it off."""

from __future__ import annotations

import secrets
from datetime import datetime
from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Q
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from planning.clocks import actions as clocks
from planning.clocks import half_poured
from planning.clocks.models import Cure, TemperatureReading
from planning.clocks.peaks import confirm_peak
from planning.clocks.standing import asked_now
from planning.clocks.words import AGAIN, PLANNED
from planning.cures import actions, page_data
from planning.cures.models import Demould
from planning.cures.narrow import narrow_lift
from planning.cures.page_forms import (
    DemouldForm,
    OutOfOvenForm,
    OvenForm,
    StepForm,
    TemperatureForm,
)
from planning.pours.models import Pour, PourStatus, PourStep
from planning.pours.steps import sign_step
from planning.routes.models import Phase
from planning.schedule.because import ask_because
from planning.weigh_in.quarantine import quarantines_of
from shared import clock
from shared.api.permissions import needs
from shared.errors import Invalid, ShopError
from shared.photos.cleaning import clean_photo
from shared.templatetags.units import minutes, moment
from shared.units import week_of
from shop import stores


def _pour(request: HttpRequest, pk: int) -> Pour:
    rows = Pour.objects.select_related("order__tool", "order__site", "system", "stands_on__order")
    return get_object_or_404(rows, pk=pk, order__site=request.site)


@needs("tool_orders:read")
def pour(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a pour with all that has happened to it."""
    return _page(request, _pour(request, pk))


def _page(
    request: HttpRequest, found: Pour, status: int = 200, **given: forms.Form
) -> HttpResponse:
    now = clock.now()
    stands = asked_now(found, now)
    lifts = page_data.lifts_of(found, now)
    readings = page_data.readings_of(found)
    may = {
        "cures": request.access.may("cures:write", request.site.pk),
        "steps": request.access.may("steps:write", request.site.pk),
        "weighings": request.access.may("weighings:write", request.site.pk),
        "quarantines": request.access.may("quarantines:write", request.site.pk),
    }
    system = stores.system(found.system_id)
    steps = _steps(found)
    context: dict[str, Any] = {
        "pour": found,
        "lifts": lifts,
        "narrow": narrow_lift(found, lifts, system),
        "stands": stands,
        "due": None if stands is None else stands.ready_at,
        "ready": stands is not None and stands.may_demould(now),
        "again": AGAIN,
        "stays": page_data.stays_of(found),
        "oven_form": given.get("oven") or OvenForm(),
        "out_form": given.get("out") or OutOfOvenForm(),
        "missing": page_data.missing_of(found, lifts, now),
        "quarantines": quarantines_of(found),
        "batches": page_data.batches_of(found),
        "steps": _open_steps(steps, given, may["steps"]),
        "done": [s for s in steps if s.done_at is not None],
        "readings": readings,
        "curve": page_data.curve_of(readings),
        "demoulded": page_data.demould_of(found),
        "temperature": given.get("temperature") or TemperatureForm(),
        "demould_form": given.get("demould")
        or DemouldForm(initial={"key": f"page:{secrets.token_hex(12)}"}),
        "planned_words": PLANNED,
        "is_curing": found.status == PourStatus.CURING,
        "cautions": stores.hazard_lines([one.id for one in system.materials]),
        "may": may,
        "now": now,
    }
    return render(request, "planning/pours/pour.html", context, status=status)


def _steps(found: Pour) -> list[PourStep]:
    phases = {"before": 0, "between": 1, "after": 2}
    rows = found.steps.select_related("done_by").prefetch_related("planned_people")
    return sorted(rows, key=lambda step: (phases.get(step.phase, 1), step.order))


def _open_steps(
    steps: list[PourStep], given: dict[str, forms.Form], may_sign: bool
) -> list[dict[str, Any]]:
    """Return the steps left, each with its form; taking the casting off has a form of its own."""
    rows = []
    taking_off = next((step for step in steps if step.phase == Phase.AFTER), None)
    for step in steps:
        if step.done_at is not None:
            continue
        form = given.get(f"step-{step.pk}")
        if form is None and may_sign and step != taking_off:
            form = StepForm(checks=step.checks, prefix=f"step-{step.pk}")
        rows.append({"step": step, "form": form, "by_demoulding": step == taking_off})
    return rows


@require_POST
@needs("steps:write")
def sign(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign a step with its time and measured values."""
    step = get_object_or_404(
        PourStep.objects.select_related("pour"), pk=pk, pour__order__site=request.site
    )
    name = f"step-{step.pk}"
    form = StepForm(request.POST, request.FILES, checks=step.checks, prefix=name)
    if form.is_valid():
        try:
            given, now = form.cleaned_data["photo"], clock.now()
            sign_step(
                step=step,
                at=now,
                now=now,
                by=request.user,
                took_min=form.cleaned_data["took_min"],
                results=form.results(),
                remark=form.cleaned_data["remark"],
                photo=None if given is None else clean_photo(given),
            )
            messages.success(request, f"{step.name} is signed.")
            return redirect("pour", pk=step.pour_id)
        except ShopError as error:
            form.add_error(None, error.message)
    return _page(request, _pour(request, step.pour_id), 422, **{name: form})


@require_POST
@needs("cures:write")
def log_temperature(request: HttpRequest, pk: int) -> HttpResponse:
    """Write down a temperature; the clocks move with it. What is odd is asked about first."""
    found = _pour(request, pk)
    form = TemperatureForm(request.POST, zone=clock.zone(request.site.time_zone))
    if not form.is_valid():
        return _page(request, found, 422, temperature=form)
    now, given = clock.now(), form.cleaned_data
    row = {
        "at": given["at"] or now,
        given["unit"]: given["degrees"],
        "where": given["where"],
        "height_mm": given["height_mm"],
        "pour": None if given["where"] == "air" else found,
        "key": f"page:{secrets.token_hex(12)}",
        "confirmed": given["confirmed"],
    }
    try:
        (kept,) = clocks.log_temperatures(
            site_id=request.site.pk, rows=[row], now=now, by=request.user
        )
    except Invalid as error:
        if error.problems[0].code == "implausible":
            form.ask(error.message)
        else:
            form.add_error("at" if error.problems[0].pointer == "#/at" else None, error.message)
        return _page(request, found, 422, temperature=form)
    messages.success(request, f"{kept.celsius} °C is recorded; the clocks are worked out anew.")
    return redirect("pour", pk=pk)


@require_POST
@needs("cures:write")
def mark_wrong(request: HttpRequest, pk: int, reading: int) -> HttpResponse:
    """Mark a temperature wrong, with the reason; the clocks do without it."""
    found = _pour(request, pk)
    row = get_object_or_404(
        TemperatureReading.objects.filter(Q(pour=found) | Q(pour=None)),
        pk=reading,
        site=request.site,
    )
    try:
        clocks.mark_wrong(
            reading=row,
            reason=request.POST.get("reason", "")[:200],
            now=clock.now(),
            by=request.user,
        )
        messages.success(request, f"{row.celsius} °C is marked wrong and no longer counts.")
    except ShopError as error:
        messages.error(request, error.message)
    return redirect("pour", pk=pk)


@require_POST
@needs("cures:write")
def peak(request: HttpRequest, pk: int, number: int) -> HttpResponse:
    """Note that somebody saw a lift's hottest moment pass."""
    found, now = _pour(request, pk), clock.now()
    cure = get_object_or_404(Cure, lift__pour=found, lift__number=number)
    try:
        confirm_peak(cure=cure, at=now, now=now, by=request.user)
        messages.success(request, f"Lift {number} is past its peak; nobody is reminded of it now.")
    except ShopError as error:
        messages.error(request, error.message)
    return redirect("pour", pk=pk)


@require_POST
@needs("weighings:write")
def ask_plan(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask for a new plan because of what a pour still misses, and open old beside new."""
    found, now = _pour(request, pk), clock.now()
    missing = page_data.missing_of(found, page_data.lifts_of(found, now), now)
    if missing is None:
        messages.error(request, f"{found} misses nothing that its plan does not know of.")
        return redirect("pour", pk=pk)
    plan = ask_because(
        site=request.site,
        reason=missing["words"],
        since=missing["since"],
        week=week_of(clock.today(request.site)),
        now=now,
        by=request.user,
    )
    return redirect("plan-compare", pk=plan.pk)


@require_POST
@needs("cures:write")
def leave_lower(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a casting that is not full as it is, with the reason."""
    found = _pour(request, pk)
    try:
        clocks.leave_lower(
            pour=found,
            reason=request.POST.get("reason", "")[:300],
            now=clock.now(),
            by=request.user,
        )
        messages.success(request, f"{found} stays as it is; its cure clock runs.")
    except ShopError as error:
        messages.error(request, error.message)
    return redirect("pour", pk=pk)


@require_POST
@needs("cures:write")
def end_as_poured(request: HttpRequest, pk: int) -> HttpResponse:
    """Let a lift of which a pot will not come end at what is in it, with the reason."""
    found = _pour(request, pk)
    try:
        lift = half_poured.end_as_poured(
            pour=found,
            reason=request.POST.get("reason", "")[:300],
            now=clock.now(),
            by=request.user,
        )
        messages.success(
            request, f"Lift {lift.number} ends at what is in it; its clock runs from its pouring."
        )
    except ShopError as error:
        messages.error(request, error.message)
    return redirect("pour", pk=pk)


@needs("steps:read")
def step_photo(request: HttpRequest, pk: int) -> FileResponse:
    """Show the photo of a step to people of its site."""
    step = get_object_or_404(
        PourStep.objects.exclude(photo=""), pk=pk, pour__order__site=request.site
    )
    return FileResponse(step.photo.open("rb"), content_type="image/jpeg")


@needs("cures:read")
def demould_photo(request: HttpRequest, pk: int) -> FileResponse:
    """Show the photo of a demoulding to people of its site."""
    record = get_object_or_404(
        Demould.objects.exclude(photo=""), pk=pk, pour__order__site=request.site
    )
    return FileResponse(record.photo.open("rb"), content_type="image/jpeg")


@require_POST
@needs("cures:write")
def demould(request: HttpRequest, pk: int) -> HttpResponse:
    """Record taking the casting off."""
    found = _pour(request, pk)
    form = DemouldForm(request.POST, request.FILES)
    if not form.is_valid():
        return _page(request, found, 422, demould=form)
    now, values = clock.now(), form.cleaned_data
    given = values.pop("photo")
    try:
        photo = None if given is None else clean_photo(given)
        record = actions.demould(pour=found, at=now, now=now, by=request.user, **values)
        if photo is not None and not record.photo:
            actions.add_photo(record=record, photo=photo)
    except ShopError as error:
        if error.code == "not_cured" and "due_at" not in error.facts:
            form.add_error(
                "early_reason",
                f"{found} may not be taken off yet. {error.facts['waits_for']} Leave it "
                "alone, or write down here why it comes off earlier.",
            )
        elif error.code == "not_cured":
            due = moment(datetime.fromisoformat(error.facts["due_at"]), request.site.time_zone)
            form.add_error(
                "early_reason",
                f"{found} may be demoulded from {due}, in {minutes(error.facts['left_min'])}. "
                "Leave it alone, or write down here why it comes off earlier.",
            )
        elif error.code == "too_hot" or _about_reason(error):
            form.add_error("early_reason", error.message)
        else:
            form.add_error(None, error.message)
        return _page(request, found, 422, demould=form)
    messages.success(request, f"{found} is off: {record.get_verdict_display().lower()}.")
    return redirect("pour", pk=pk)


def _about_reason(error: ShopError) -> bool:
    problems = error.problems if isinstance(error, Invalid) else ()
    return any(one.pointer == "#/early_reason" for one in problems)
