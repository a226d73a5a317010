"""Week: the plan as a picture with its rows beneath, asked for, followed and confirmed here."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from planning.batches.models import Batch, BatchStatus
from planning.clocks.words import PLANNED
from planning.core import plain
from planning.core import plan as core
from planning.schedule import actions, queries
from planning.schedule.board import board, pieces_of
from planning.schedule.models import PlanState, WeekPlan
from planning.schedule.promises import promises
from planning.schedule.reasons_pages import told
from planning.schedule.snapshot import week_days
from shared import clock
from shared.api.permissions import needs
from shared.errors import ShopError

THURSDAY = 4
"""Of the ISO week: by then an unplanned week is as good as over."""
MOST_PLANS = 12
"""So many plans of a week are listed, the newest first."""
BEING_MADE = (PlanState.WAITING, PlanState.SOLVING)


def week_name(day: date) -> str:
    """Return the ISO week of a day."""
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02d}"


@needs("plans:read")
def this_week(request: HttpRequest) -> HttpResponse:
    """Go to this week; from Thursday on to the next one, where this one was never planned."""
    asked = request.GET.get("week", "").strip().upper()
    today = clock.today(request.site)
    if not asked:
        this = week_name(today)
        if today.isoweekday() >= THURSDAY and queries.current_plan(request.site.pk, this) is None:
            return redirect("week-of", week=week_name(today + timedelta(days=7)))
        return redirect("week-of", week=this)
    if _days(asked) is None:
        messages.error(
            request,
            f"week is {asked[:20]!r}; give an ISO week that exists, such as {week_name(today)}.",
        )
        return redirect("week")
    return redirect("week-of", week=asked)


def _days(week: str) -> tuple[date, date] | None:
    try:
        return week_days(week)
    except ValueError:
        return None


@needs("plans:read")
def week(request: HttpRequest, week: str) -> HttpResponse:
    """Show a week's plan; `?plan=` chooses an earlier one, `?day=` one day in large."""
    span = _days(week)
    if span is None:
        raise Http404(f"There is no week {week}.")
    site, monday = request.site, span[0]
    plan = _chosen(request, week)
    shown = _shown_days(request, monday)
    context = {
        "week": week,
        "monday": monday,
        "days": [monday + timedelta(days=n) for n in range(7)],
        "before": week_name(monday - timedelta(days=7)),
        "after": week_name(monday + timedelta(days=7)),
        "plan": plan,
        "others": queries.plans_of(site.pk, week)[:MOST_PLANS],
        "one_day": shown[0] if len(shown) == 1 else None,
        "being_made": plan is not None and plan.state in BEING_MADE,
        "planned_words": PLANNED,
        "may_plan": request.access.may("plans:write", site.pk),
    }
    if plan is not None and plan.plan:
        context |= _content(plan, shown)
    return render(request, "planning/schedule/week.html", context)


def _chosen(request: HttpRequest, week: str) -> WeekPlan | None:
    asked = request.GET.get("plan", "")
    if asked.isdecimal():
        return get_object_or_404(WeekPlan, pk=int(asked), site=request.site)
    return queries.current_plan(request.site.pk, week)


def _shown_days(request: HttpRequest, monday: date) -> list[date]:
    days = [monday + timedelta(days=n) for n in range(7)]
    asked = request.GET.get("day", "")
    return [day for day in days if day.isoformat() == asked] or days


def _content(plan: WeekPlan, shown: list[date]) -> dict[str, Any]:
    problem = plain.from_plain(core.Problem, plan.problem)
    answer = plain.from_plain(core.Plan, plan.plan)
    zone = ZoneInfo(plan.site.time_zone)
    return {
        "figures": answer.figures,
        "board": board(problem, answer, zone, shown),
        "batches": _batch_rows(plan, problem, answer, shown, zone),
        "work": _work_rows(problem, answer, shown, zone),
        "pours": _pour_rows(plan, problem, answer, zone, shown),
        **told(plan, problem, answer),
        "moves": [
            {
                "what": move.what,
                "pour": move.pour,
                "was": None if move.from_min is None else _at(problem, move.from_min),
                "now": None if move.to_min is None else _at(problem, move.to_min),
                "reason": move.reason,
            }
            for move in answer.moves
        ],
        "notes": answer.notes,
    }


def _at(problem: core.Problem, minute: int) -> datetime:
    return datetime.fromisoformat(problem.origin) + timedelta(minutes=minute)


def _batch_rows(
    plan: WeekPlan,
    problem: core.Problem,
    answer: core.Plan,
    shown: list[date],
    zone: ZoneInfo,
) -> list[dict[str, Any]]:
    """Return the plan's batches on the shown days, with their page once they are numbered."""
    people = {person.id: person.name or person.id for person in problem.people}
    mixers = {mixer.id: mixer.name or mixer.id for mixer in problem.mixers}
    names = {pour.id: pour.name or pour.id for pour in problem.pours}
    numbered = {
        (batch.planned_start, str(batch.mixer_id)): batch
        for batch in Batch.objects.filter(
            site=plan.site, portions__lift__pour__in=[int(p.id) for p in problem.pours]
        ).distinct()
    }
    rows, now = [], clock.now()
    for batch in sorted(answer.batches, key=lambda b: (b.start_min, b.id)):
        start = _at(problem, batch.start_min)
        if start.astimezone(zone).date() not in shown:
            continue
        row = numbered.get((start, batch.mixer))
        rows.append(
            {
                "start": start,
                "contact": _at(problem, batch.contact_min),
                "pour_end": _at(problem, batch.pour_end_min),
                "kg": batch.mixed_kg,
                "mixer": mixers.get(batch.mixer, batch.mixer),
                "people": ", ".join(people.get(p, p) for p in sorted(set(batch.people))),
                "into": [
                    {"pour": p.pour, "name": names.get(p.pour), "lift": p.lift + 1, "kg": p.kg}
                    for p in batch.portions
                ],
                "row": row,
                "missed": row is not None and row.status == BatchStatus.PLANNED and start < now,
            }
        )
    return rows


def _work_rows(
    problem: core.Problem, answer: core.Plan, shown: Iterable[date], zone: ZoneInfo
) -> list[dict[str, Any]]:
    people = {f"person:{person.id}": person.name or person.id for person in problem.people}
    days = set(shown)
    return [
        {"piece": piece, "who": people.get(piece.row, piece.row)}
        for piece in pieces_of(problem, answer)
        if piece.kind == "step" and piece.start.astimezone(zone).date() in days
    ]


def _pour_rows(
    plan: WeekPlan,
    problem: core.Problem,
    answer: core.Plan,
    zone: ZoneInfo,
    shown: Iterable[date],
) -> list[dict[str, Any]]:
    """Return the pours with work, or due, on the shown days."""
    days = set(shown)
    busy = {
        piece.pour
        for piece in pieces_of(problem, answer)
        if days & {piece.start.astimezone(zone).date(), piece.end.astimezone(zone).date()}
    }
    said = promises(plan, problem, answer, clock.now())
    places = {place.id: place.name or place.id for place in problem.places}
    stands = {stand.pour: places.get(stand.place, stand.place) for stand in answer.stands}
    return [
        {
            "id": pour.id,
            "name": pour.name or pour.id,
            "kg": pour.mass_kg,
            "lifts": sum(lift.pour == pour.id for lift in answer.lifts),
            "place": stands.get(pour.id, ""),
            "due": said[pour.id].due_at - timedelta(minutes=1),
            "said": said[pour.id],
            "late_min": _minutes(said[pour.id].late),
        }
        for pour in problem.pours
        if pour.id in said
        and (pour.id in busy or _at(problem, pour.due_min - 1).astimezone(zone).date() in days)
    ]


def _minutes(span: timedelta | None) -> int:
    return 0 if span is None else round(span.total_seconds() / 60)


@require_POST
@needs("plans:write")
def ask(request: HttpRequest, week: str) -> HttpResponse:
    """Ask for a plan of the week."""
    text = request.POST.get("seconds", "10").replace(",", ".")
    try:
        seconds = float(text)
    except ValueError:
        messages.error(request, f"seconds is {text[:20]!r}; give a number from 0.5 to 600 s.")
        return redirect("week-of", week=week)
    try:
        actions.ask_plan(
            site=request.site, week=week, now=clock.now(), by=request.user, seconds=seconds
        )
    except ShopError as error:
        messages.error(request, error.message)
    return redirect("week-of", week=week)


@needs("plans:read")
def progress(request: HttpRequest, pk: int) -> HttpResponse:
    """Tell how a plan is coming on; once it is there the page loads anew."""
    plan = get_object_or_404(WeekPlan.objects.defer("problem", "plan"), pk=pk, site=request.site)
    answer = render(
        request,
        "planning/schedule/progress.html",
        {"plan": plan, "may_plan": request.access.may("plans:write", request.site.pk)},
    )
    if plan.state not in BEING_MADE:
        answer["HX-Refresh"] = "true"
    return answer


@require_POST
@needs("plans:write")
def stop(request: HttpRequest, pk: int) -> HttpResponse:
    """Stop a search and keep the best plan so far."""
    plan = get_object_or_404(WeekPlan, pk=pk, site=request.site)
    actions.ask_stop(plan=plan)
    return redirect("week-of", week=plan.week)


@require_POST
@needs("plans:write")
def confirm(request: HttpRequest, pk: int) -> HttpResponse:
    """Make a plan the one the shop works by."""
    plan = get_object_or_404(WeekPlan, pk=pk, site=request.site)
    try:
        seen = request.POST.get("seen", "")
        actions.confirm(plan=plan, now=clock.now(), by=request.user, seen=seen)
        messages.success(
            request, f"Plan {plan} is confirmed: batches are numbered, lots reserved."
        )
    except ShopError as error:
        messages.error(request, error.message)
    return redirect("week-of", week=plan.week)
