"""Today: what to do, in order, for the person signed in; what is curing; what wants attention."""

from __future__ import annotations

from datetime import date, timedelta

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import NoReverseMatch
from django.views.decorators.http import require_POST

from planning.cures import actions as cures
from planning.pours import steps
from planning.pours.models import PourStep
from planning.reminders import actions as reminder_actions
from planning.reminders import queries as reminders
from planning.reminders.models import Reminder
from planning.today import queries
from shared import clock
from shared.api.permissions import needs
from shared.errors import ShopError


@needs("batches:read")
def today(request: HttpRequest) -> HttpResponse:
    """Show a day, or the rest of its week, for one person or everybody."""
    site, now = request.site, clock.now()
    here = clock.today(site)
    day = _day(request, here)
    rest = request.GET.get("rest") == "1"
    people = queries.people_of(site)
    who = _who(request, people)
    work = queries.work_of(site, queries.days_of(day, rest), who, now)
    return render(
        request,
        "planning/today/today.html",
        {
            **work,
            "day": day,
            "is_today": day == here,
            "rest": rest,
            "who": who,
            "people": people,
            "cautions": queries.cautions_of(work["days"]),
            "around": [day + timedelta(days=n) for n in (-1, 1, 2)],
            "notices": reminders.notices(request.user, [site.pk]),
            "now": now,
            "card_is_late": bool(work.get("card")) and work["card"].is_late(now),
            "may_sign": request.access.may("steps:write", site.pk),
        },
    )


@needs("sites:read")
def first(request: HttpRequest) -> HttpResponse:
    """Lead a person to the page their work begins on."""
    may = request.access.may
    if may("purchases:write") and not may("tool_orders:write"):
        try:
            return redirect("buying")
        except NoReverseMatch:  # the installation has no buying pages
            return redirect("today")
    return redirect("today" if may("batches:read") else "tools")


def _day(request: HttpRequest, here: date) -> date:
    asked = request.GET.get("day", "")
    if not asked:
        return here
    try:
        return date.fromisoformat(asked)
    except ValueError:
        messages.error(
            request,
            f"day is {asked[:20]!r}, which is no date; give one that exists, such as {here}. "
            "Showing today.",
        )
        return here


def _who(request: HttpRequest, people: list[tuple[int, str, int | None]]) -> int | None:
    asked = request.GET.get("who", "")
    if asked == "all":
        return None
    if asked.isdecimal() and int(asked) in {pk for pk, *_ in people}:
        return int(asked)
    return next((pk for pk, _, user in people if user == request.user.pk), None)


def _back(request: HttpRequest) -> HttpResponse:
    """Go back to the page that was left, never to another host."""
    path = request.POST.get("back", "")
    return redirect(path if path.startswith("/") and not path.startswith("//") else "today")


@require_POST
@needs("steps:write")
def sign_step(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign a step as done now."""
    step = get_object_or_404(PourStep, pk=pk, pour__order__site=request.site)
    begun = request.POST.get("took_min", "")
    took_min = int(begun) if begun.isascii() and begun.isdigit() and len(begun) < 5 else 0
    now = clock.now()
    try:
        cures.sign_step(
            step=step,
            at=now,
            now=now,
            by=request.user,
            took_min=took_min if 1 <= took_min <= steps.MOST_MIN else None,
        )
        messages.success(request, f"{step.name} of {step.pour} is signed.")
    except ShopError as error:
        messages.error(request, error.message)
    return _back(request)


@require_POST
@needs("steps:write")
def waive_step(request: HttpRequest, pk: int) -> HttpResponse:
    """Leave a step of an earlier day out, with a reason."""
    step = get_object_or_404(PourStep, pk=pk, pour__order__site=request.site)
    try:
        steps.waive_step(
            step=step, reason=request.POST.get("reason", ""), now=clock.now(), by=request.user
        )
        messages.success(request, f"{step.name} of {step.pour} is waived: {step.remark}.")
    except ShopError as error:
        messages.error(request, error.message)
    return _back(request)


@require_POST
@needs("steps:write")
def note_minutes(request: HttpRequest, pk: int) -> HttpResponse:
    """Write down how long a step took that was signed without its minutes."""
    step = get_object_or_404(PourStep, pk=pk, pour__order__site=request.site)
    given = request.POST.get("took_min", "").strip()
    if not (given.isascii() and given.isdigit() and len(given) < 6):
        messages.error(
            request,
            f"Hands-on time of {step.name} is {given[:20] or 'empty'}; give whole minutes, 1 to "
            f"{steps.MOST_MIN} min.",
        )
        return _back(request)
    try:
        steps.note_minutes(step=step, took_min=int(given))
        messages.success(request, f"{step.name} of {step.pour} took {step.took_min} min.")
    except ShopError as error:
        messages.error(request, error.message)
    return _back(request)


@require_POST
@needs("reminders:write")
def take_up(request: HttpRequest, pk: int) -> HttpResponse:
    """Confirm a reminder: somebody sees to it."""
    reminder = get_object_or_404(Reminder, pk=pk, site=request.site)
    try:
        reminder_actions.confirm(reminder=reminder, by=request.user, now=clock.now())
    except ShopError as error:
        messages.error(request, error.message)
    return _back(request)


@require_POST
@needs("reminders:read")
def put_away(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a notice off one's own page; others still see theirs."""
    reminder_actions.put_away(user=request.user, delivery_id=pk, now=clock.now())
    return _back(request)
