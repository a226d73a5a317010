"""What one person sees of a day: work by the clock, what is curing, what wants attention."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from planning.batch_sheets.queries import batches_of, sheet
from planning.batches.models import Batch, BatchStatus, Lift
from planning.clocks.models import Cure
from planning.pours.models import PourStatus
from shared.access.models import Site
from shop import stores

OVER = (BatchStatus.POURED, BatchStatus.SCRAPPED, BatchStatus.CANCELLED)


def person_of(site: Site, user_id: int, day: date) -> int | None:
    """Return the shop's person behind a sign-in, if there is one at the site."""
    for person in stores.site_week(site.pk, day, 1).people:
        if person.user_id == user_id:
            return person.id
    return None


def people_of(site: Site, day: date) -> list[tuple[int, str]]:
    """Return the people of a site, for choosing whose day to see."""
    return [(person.id, person.name) for person in stores.site_week(site.pk, day, 1).people]


def days_of(day: date, rest_of_week: bool) -> list[date]:
    """Return the day alone, or it and the days up to Sunday."""
    last = 7 - day.isoweekday() if rest_of_week else 0
    return [day + timedelta(days=n) for n in range(last + 1)]


def day_of(site: Site, day: date, person_id: int | None, now: datetime) -> dict[str, Any]:
    """Return a day's sheet with its work in the order of the clock."""
    found = sheet(site=site, day=day, person_id=person_id, now=now)
    zone = ZoneInfo(site.time_zone)
    overdue_here = day == now.astimezone(zone).date()
    demoulds = [
        row
        for row in found["demoulds"]
        if row["due_at"].astimezone(zone).date() == day
        or (overdue_here and row["due_at"].astimezone(zone).date() < day)
    ]
    own = {row["id"] for row in found["batches"]}
    others = [] if person_id is None else [b for b in batches_of(site, day) if b.pk not in own]
    return {
        **found,
        "demoulds": demoulds,
        "agenda": agenda(found, now),
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


def curing(site: Site, now: datetime) -> list[dict[str, Any]]:
    """Return every running clock, the next one to act on first: the hand-over of a shift."""
    cures = (
        Cure.objects.filter(lift__pour__order__site=site, done_at__isnull=True)
        .exclude(lift__pour__status__in=[PourStatus.FAILED, PourStatus.CANCELLED])
        .select_related("lift__pour__order__tool", "lift__place")
    )
    newest: dict[int, Cure] = {}
    for cure in cures:
        held = newest.get(cure.lift.pour_id)
        if held is None or cure.lift.number > held.lift.number:
            newest[cure.lift.pour_id] = cure
    planned = {
        (lift.pour_id, lift.number): lift
        for lift in Lift.objects.filter(pour__in=newest, cure__isnull=True)
    }
    rows = [
        _curing_row(cure, planned.get((cure.lift.pour_id, cure.lift.number + 1)), now)
        for cure in newest.values()
    ]
    return sorted(rows, key=lambda row: (row["next_at"], row["pour_id"]))


def _curing_row(cure: Cure, above: Lift | None, now: datetime) -> dict[str, Any]:
    row = {
        "pour": str(cure.lift.pour),
        "pour_id": cure.lift.pour_id,
        "tool": cure.lift.pour.order.tool.name,
        "lift": cure.lift.number,
        "place": "" if cure.lift.place is None else cure.lift.place.name,
        "poured_at": cure.poured_at,
        "peak_due_at": cure.peak_due_at,
        "peak_passed": (cure.peak_passed_at or cure.peak_due_at) <= now,
        "opens_at": cure.next_opens_at,
        "closes_at": cure.next_closes_at,
        "demould_due_at": cure.demould_due_at,
        "above": above,
        "rest_open": above is None and cure.lift.pour.status == PourStatus.POURING,
        "basis": cure.basis,
    }
    state, words, next_at = _state(row, now)
    return {**row, "state": state, "words": words, "next_at": next_at}


def _state(row: Mapping[str, Any], now: datetime) -> tuple[str, str, datetime]:
    if row["above"] is None and not row["rest_open"]:
        if row["demould_due_at"] <= now:
            return "due", "May be demoulded", row["demould_due_at"]
        return "curing", "Leave it alone", row["demould_due_at"]
    what = "the rest, not planned yet" if row["rest_open"] else f"lift {row['lift'] + 1}"
    if now < row["opens_at"]:
        return "curing", f"Too early for {what}", row["opens_at"]
    if row["closes_at"] is not None and row["closes_at"] <= now:
        return "missed", "Recoat window closed: abrade and clean first", row["closes_at"]
    words = f"{what[0].upper()}{what[1:]}"
    words = f"{words}: may go on" if row["rest_open"] else f"{words} may go on"
    return "open_now", words, row["closes_at"] or row["opens_at"]
