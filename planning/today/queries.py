"""What one person sees of a day: work by the clock, what is curing, what wants attention."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from planning.batch_sheets.queries import sheets, step_row
from planning.batch_sheets.reading import Read, read
from planning.batches.barred import barred_rows
from planning.batches.models import Batch, BatchStatus
from planning.clocks.deadline import Deadline, deadlines
from planning.clocks.models import Waits
from planning.clocks.standing import Standing
from planning.today.now import card
from planning.weigh_in import presence
from shared import clock
from shared.access.models import Site
from shop import stores

WAITING = {
    Waits.COOL_READING: "Measure its face",
    Waits.OUT_OF_OVEN: "In the oven",
    Waits.STALLED: "Warm the casting",
    Waits.NOT_KNOWN: "Leave it alone",
}
OVER = (BatchStatus.POURED, BatchStatus.SCRAPPED, BatchStatus.CANCELLED)


def people_of(site: Site) -> list[tuple[int, str, int | None]]:
    """Return id, name and sign-in of the people of a site, for choosing whose day to see."""
    return list(stores.people_at(site.pk))


def days_of(day: date, rest_of_week: bool) -> list[date]:
    """Return the day alone, or it and the days up to Sunday."""
    last = 7 - day.isoweekday() if rest_of_week else 0
    return [day + timedelta(days=n) for n in range(last + 1)]


def day_of(site: Site, day: date, person_id: int | None, now: datetime) -> dict[str, Any]:
    """Return a day's sheet with its work in the order of the clock."""
    return work_of(site, [day], person_id, now)["days"][0]


def work_of(
    site: Site, days: Sequence[date], person_id: int | None, now: datetime
) -> dict[str, Any]:
    """
    Return some days' sheets with their work by the clock, and what is curing.

    On a page that begins today also what earlier days left undone, and the card of what to do now.
    """
    is_today = days[0] == clock.local(now, site).date()
    found = read(site, days[0], days[-1], and_before=is_today)
    rows = [
        _with_agenda(found, one, person_id, now) for one in sheets(found, days, person_id, now)
    ]
    work: dict[str, Any] = {
        "days": rows,
        "curing": curing(found.castings, now),
        "left": None,
        "card": None,
    }
    if is_today:
        _add_who_is_at_it(site, rows[0], now)
        left = left_from_before(found, person_id)
        work["left"] = left if left["batches"] or left["steps"] else None
        work["card"] = card(
            [*left["batches"], *rows[0]["batches"]],
            [*left["steps"], *rows[0]["steps"]],
            rows[0]["demoulds"],
            now,
        )
    return work


def _add_who_is_at_it(site: Site, sheet: dict[str, Any], now: datetime) -> None:
    """Say of each batch of today who has it open or recorded something of it last."""
    batches = [*sheet["batches"], *sheet["others"]]
    words = presence.words_on(site, batches, now)
    for row in batches:
        row["at_it"] = words[row["id"]]


def left_from_before(found: Read, person_id: int | None) -> dict[str, Any]:
    """Return batches and steps that earlier days left unfinished, one person's or everybody's."""
    batches, steps = found.left_batches, found.left_steps
    if person_id is not None:
        batches = [b for b in batches if person_id in {p.pk for p in b.people.all()}]
        steps = [s for s in steps if person_id in {p.pk for p in s.planned_people.all()}]
    until = deadlines(b for b in batches if b.contact_at is not None)
    return {
        "batches": [_left_batch(batch, until.get(batch.pk)) for batch in batches],
        "steps": [step_row(step) for step in steps],
    }


def _left_batch(batch: Batch, deadline: Deadline | None) -> dict[str, Any]:
    return {
        "id": batch.pk,
        "number": batch.number,
        "status": batch.status,
        "start_at": batch.planned_start,
        "contact_at": batch.contact_at or batch.planned_contact,
        "latest_pour_at": batch.planned_pour_end if deadline is None else deadline.pour_by,
        "portions": [
            {"pour": str(p.lift.pour), "lift": p.lift.number} for p in batch.portions.all()
        ],
        "lines": [
            {"role": line.role, "container": line.container.code} for line in batch.lines.all()
        ],
        "people": [person.name for person in batch.people.all()],
        "barred": barred_rows(batch),
    }


def _with_agenda(
    found: Read, sheet: dict[str, Any], person_id: int | None, now: datetime
) -> dict[str, Any]:
    day, zone = sheet["day"], ZoneInfo(found.site.time_zone)
    overdue_here = day == now.astimezone(zone).date()
    demoulds = [
        row
        for row in sheet["demoulds"]
        if row["due_at"].astimezone(zone).date() == day
        or (overdue_here and row["due_at"].astimezone(zone).date() < day)
    ]
    own = {row["id"] for row in sheet["batches"]}
    others = [] if person_id is None else [b for b in found.batches_on(day) if b.pk not in own]
    return {
        **sheet,
        "demoulds": demoulds,
        "agenda": agenda(sheet, now),
        "others": [other_batch(batch) for batch in others],
    }


def other_batch(batch: Batch) -> dict[str, Any]:
    """Return a batch that somebody else mixes: enough to find it and to step in."""
    return {
        "id": batch.pk,
        "number": batch.number,
        "status": batch.status,
        "at": batch.planned_start,
        "kg": batch.mixed_kg,
        "into": [f"{p.lift.pour} lift {p.lift.number}" for p in batch.portions.all()],
        "people": [person.name for person in batch.people.all()],
    }


def cautions_of(days: Iterable[Mapping[str, Any]]) -> list[dict[str, str]]:
    """Return the hazard statements of several days, each once."""
    found = {row["code"]: row for day in days for row in day["cautions"]}
    return [found[code] for code in sorted(found)]


def agenda(found: Mapping[str, Any], now: datetime) -> list[dict[str, Any]]:
    """Return batches and steps of a sheet by the clock, each marked done, late or neither."""
    items = [
        {
            "kind": "batch",
            "at": row["start_at"],
            "row": row,
            "done": row["status"] in OVER,
            "late": row["status"] == BatchStatus.PLANNED and row["contact_at"] < now,
        }
        for row in found["batches"]
    ]
    items += [
        {
            "kind": "step",
            "at": row["start_at"],
            "row": row,
            "done": row["done_at"] is not None,
            "late": row["done_at"] is None and row["end_at"] is not None and row["end_at"] < now,
        }
        for row in found["steps"]
    ]
    return sorted(items, key=lambda item: (item["at"], item["kind"], item["row"]["id"]))


def curing(castings: Iterable[Standing], now: datetime) -> list[dict[str, Any]]:
    """Return every running clock, the next one to act on first: the hand-over of a shift."""
    rows = [_curing_row(one, now) for one in castings]
    return sorted(rows, key=lambda row: (row["next_at"], row["pour_id"]))


def _curing_row(one: Standing, now: datetime) -> dict[str, Any]:
    top = one.top
    state, words, next_at = _state(one, now)
    return {
        "pour": str(one.pour),
        "pour_id": one.pour.pk,
        "tool": one.pour.order.tool.name,
        "lift": top.lift.number,
        "place": "" if top.lift.place is None else top.lift.place.name,
        "poured_at": top.poured_at,
        "peak_due_at": top.peak_best_at or top.attend_until,
        "attend_until": top.attend_until,
        "peak_passed": top.peak_passed_at is not None
        or (top.attend_until is not None and top.attend_until <= now),
        "opens_at": one.opens_at,
        "closes_at": one.closes_at,
        "no_window": one.no_window,
        "ready_at": one.ready_at,
        "waits_for": one.waits_for,
        "expected_at": one.expected_at,
        "above": one.next_lift,
        "rest_open": one.rest_open,
        "basis": one.last.basis,
        "state": state,
        "words": words,
        "next_at": next_at,
    }


def _state(one: Standing, now: datetime) -> tuple[str, str, datetime]:
    if not one.awaits_lift:
        return _state_of_full(one, now)
    what = "the rest, not planned yet" if one.rest_open else f"lift {one.top.lift.number + 1}"
    if not one.may_pour_over(now):
        return "curing", f"Too early for {what}", one.opens_at or one.top.poured_at
    if not one.still_bonds(now):
        closed_at = one.closes_at or one.top.poured_at
        return "missed", "Recoat window closed: abrade and clean first", closed_at
    words = f"{what[0].upper()}{what[1:]}"
    words = f"{words}: may go on" if one.rest_open else f"{words} may go on"
    return "open_now", words, one.closes_at or one.top.poured_at


def _state_of_full(one: Standing, now: datetime) -> tuple[str, str, datetime]:
    """Return the state of a casting of which every lift is poured."""
    at = one.expected_at or one.top.poured_at
    if one.may_demould(now):
        return "due", "May be demoulded", at
    if one.waits_for and at <= now:
        return "due", WAITING[Waits(one.last.waits_for)], at
    if one.ready_at is not None and one.ready_at <= now:
        return "curing", "Its clock is being worked out", at
    return "curing", "Leave it alone", at
