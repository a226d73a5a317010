"""Writes: who and what is there on some days: absences, extra shifts, outages, temperatures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Model

from shared import clock, wall_clock
from shared.access.models import Site
from shared.errors import FieldProblem, Invalid
from shop.errors import NotFound
from shop.registers import change, enter
from shop.sites.models import (
    ClosedDay,
    DayChange,
    ExpectedTemperature,
    Mixer,
    Outage,
    Person,
    Place,
)
from shop.sites.words import day_words, hours_words, span_words

MOST_DAYS = 92
"""So many days are entered at once; more than that is another way of working, not a change."""
FARTHEST = timedelta(days=366)

KINDS: dict[str, str] = {
    "absence": "Somebody is away",
    "late_arrival": "Somebody comes late",
    "extra_shift": "Somebody works extra hours",
    "closed_day": "The shop is closed",
    "out_of_use": "A mixer, an oven or a bench is out of use",
    "temperature": "The shop will be warmer or colder",
}
"""What may change in a shop from one day to the next."""
NEEDS: dict[str, tuple[str, ...]] = {
    "absence": ("person", "day"),
    "late_arrival": ("person", "day", "starts"),
    "extra_shift": ("person", "day", "starts", "ends"),
    "closed_day": ("day",),
    "out_of_use": ("starts_at", "ends_at"),
    "temperature": ("day", "shop_c"),
}
"""Fields that each of them cannot do without."""


@dataclass(frozen=True)
class Reported:
    """What was entered, and in one sentence what it says."""

    kind: str
    rows: tuple[Model, ...]
    words: str


@dataclass(frozen=True)
class ShopChange:
    """Something that changes for some days; people and things by id, fields by the kind."""

    kind: str
    person: int | None = None
    mixer: int | None = None
    place: int | None = None
    day: date | None = None
    until_day: date | None = None
    starts: time | None = None
    ends: time | None = None
    starts_at: datetime | None = None
    ends_at: datetime | None = None
    shop_c: Decimal | None = None
    reason: str = ""


@transaction.atomic
def report(*, site: Site, what: ShopChange, now: datetime) -> Reported:
    """
    Enter a change of who and what is there; said a second time it stays as it is.

    Raises
    ------
    Invalid
        For a field that is missing, or a day or an hour that makes no sense.
    """
    _check_fields(what)
    _check_days(what, clock.local(now, site).date())
    _check_end(what, now, site)
    _check_hours(what, site)
    rows, words = _WRITERS[what.kind](site, what, _subject(site, what))
    because = f" ({what.reason})" if what.reason else ""
    return Reported(what.kind, tuple(rows), f"{words}{because}.")


def _check_fields(what: ShopChange) -> None:
    missing = [name for name in NEEDS[what.kind] if getattr(what, name) is None]
    if what.kind == "out_of_use" and (what.mixer is None) == (what.place is None):
        missing.append("mixer")
    if missing:
        words = {"mixer": "name a mixer or a place, one of the two."}
        problems = tuple(
            FieldProblem(f"#/{name}", "required", f"{name}: {words.get(name, 'is missing.')}")
            for name in missing
        )
        raise Invalid(" ".join(problem.detail for problem in problems), problems)
    if what.kind == "absence" and (what.starts is None) != (what.ends is None):
        name = "starts" if what.starts is None else "ends"
        raise Invalid.one(
            name, "required", f"{name} is missing; give both hours, or neither for whole days."
        )
    if what.starts is not None and what.ends is not None and what.ends <= what.starts:
        raise Invalid.one(
            "ends", "before_start",
            f"ends is {what.ends:%H:%M}; it must be later than starts, {what.starts:%H:%M}.",
            value=f"{what.ends:%H:%M}", limit=f"{what.starts:%H:%M}",
        )  # fmt: skip
    if what.starts_at is not None and what.ends_at is not None and what.ends_at <= what.starts_at:
        raise Invalid.one(
            "ends_at", "before_start", "ends_at must be later than starts_at.",
            value=what.ends_at.isoformat(), limit=what.starts_at.isoformat(),
        )  # fmt: skip
    if what.shop_c is not None and not 0 <= what.shop_c <= 45:
        raise Invalid.one(
            "shop_c", "out_of_range", f"shop_c is {what.shop_c} °C; it must be 0 to 45 °C.",
            value=what.shop_c, limit="0 to 45", unit="°C",
        )  # fmt: skip


def _check_days(what: ShopChange, today: date) -> None:
    if what.day is None:
        return
    last = what.until_day or what.day
    if last < what.day:
        raise Invalid.one(
            "until_day", "before_start", f"until_day is {last}; it must not be before {what.day}.",
            value=last, limit=what.day,
        )  # fmt: skip
    if last < today:
        name = "day" if what.until_day is None else "until_day"
        raise Invalid.one(
            name, "in_past", f"{name} is {last}, which is over; give {today} or a later day.",
            value=last, limit=today,
        )  # fmt: skip
    if last > today + FARTHEST:
        name = "day" if what.until_day is None else "until_day"
        raise Invalid.one(
            name, "too_far", f"{name} is {last}; give a day up to {today + FARTHEST}.",
            value=last, limit=today + FARTHEST,
        )  # fmt: skip
    if (last - what.day).days >= MOST_DAYS:
        raise Invalid.one(
            "until_day", "too_long",
            f"until_day is {last}; at most {MOST_DAYS} days are entered at once.",
            value=last, limit=MOST_DAYS, unit="days",
        )  # fmt: skip


def _check_end(what: ShopChange, now: datetime, site: Site) -> None:
    if what.ends_at is None:
        return
    shown = f"{clock.local(what.ends_at, site):%a %d %b %Y %H:%M}"
    if what.ends_at <= now:
        raise Invalid.one(
            "ends_at", "in_past", f"ends_at is {shown}, which is over; give a later time.",
            value=what.ends_at.isoformat(), limit=now.isoformat(),
        )  # fmt: skip
    if what.ends_at > now + FARTHEST:
        raise Invalid.one(
            "ends_at", "too_far",
            f"ends_at is {shown}; give a time within {FARTHEST.days} days. What is out of use for "
            "longer is put out of use on its Set-up page.",
            value=what.ends_at.isoformat(), limit=FARTHEST.days, unit="days",
        )  # fmt: skip


def _check_hours(what: ShopChange, site: Site) -> None:
    """Refuse an hour that the clock skips on a day it is given for."""
    zone = clock.zone(site.time_zone)
    hours = {"starts": what.starts, "ends": what.ends}
    for name, hour in hours.items():
        if hour is None or what.day is None:
            continue
        for day in _days(what):
            # Which of two is meant needs no question: nobody is planned in what is doubtful.
            wall_clock.resolved(
                datetime.combine(day, hour), zone, name=name, field=name, twice="earlier"
            )


def _subject(site: Site, what: ShopChange) -> Any:
    """Return the person, mixer or place a change is about; None where it is about the shop."""
    tables: dict[str, Any] = {"person": Person, "mixer": Mixer, "place": Place}
    for name in ("person",) if "person" in NEEDS[what.kind] else ("mixer", "place"):
        key = getattr(what, name)
        if key is None:
            continue
        row = tables[name].objects.filter(site=site, pk=key).first()
        if row is None:
            raise Invalid.one(name, "does_not_exist", f"{name} is not the id of anything here.")
        return row
    return None


def _days(what: ShopChange) -> list[date]:
    assert what.day is not None
    last = what.until_day or what.day
    return [what.day + timedelta(days=n) for n in range((last - what.day).days + 1)]


def _day_changes(what: ShopChange, person: Person, **hours: Any) -> list[DayChange]:
    days = _days(what)
    found = DayChange.objects.filter(person=person, day__in=days, **hours)
    there = {row.day: row for row in found}
    return [
        there.get(day) or enter(DayChange, person=person, day=day, reason=what.reason, **hours)
        for day in days
    ]


Written = tuple[Iterable[Model], str]


def _absence(site: Site, what: ShopChange, one: Any) -> Written:
    rows = _day_changes(what, one, starts=what.starts, ends=what.ends, extra=False)
    return rows, f"{one} is away {day_words(_days(what))}{hours_words(what.starts, what.ends)}"


def _late_arrival(site: Site, what: ShopChange, one: Any) -> Written:
    rows = _day_changes(what, one, starts=time.min, ends=what.starts, extra=False)
    return rows, f"{one} comes at {what.starts:%H:%M} {day_words(_days(what))}"


def _extra_shift(site: Site, what: ShopChange, one: Any) -> Written:
    rows = _day_changes(what, one, starts=what.starts, ends=what.ends, extra=True)
    hours = hours_words(what.starts, what.ends)
    return rows, f"{one} works extra hours {day_words(_days(what))}{hours}"


def _closed_day(site: Site, what: ShopChange, one: Any) -> Written:
    days = _days(what)
    there = {row.day: row for row in ClosedDay.objects.filter(site=site, day__in=days)}
    rows = [
        there.get(day) or enter(ClosedDay, site=site, day=day, reason=what.reason) for day in days
    ]
    return rows, f"The shop is closed {day_words(days)}"


def _out_of_use(site: Site, what: ShopChange, one: Any) -> Written:
    fields: Mapping[str, Any] = {
        "site": site,
        "mixer": one if isinstance(one, Mixer) else None,
        "place": one if isinstance(one, Place) else None,
        "starts_at": what.starts_at,
        "ends_at": what.ends_at,
    }
    same = Outage.objects.filter(**fields).first()
    row = same or enter(Outage, reason=what.reason, **fields)
    return [row], f"{one} is out of use {span_words(row.starts_at, row.ends_at, site)}"


def _temperature(site: Site, what: ShopChange, one: Any) -> Written:
    days = _days(what)
    there = {row.day: row for row in ExpectedTemperature.objects.filter(site=site, day__in=days)}
    rows = [
        change(there[day], shop_c=what.shop_c)
        if day in there
        else enter(ExpectedTemperature, site=site, day=day, shop_c=what.shop_c)
        for day in days
    ]
    return rows, f"{what.shop_c} °C are expected in the shop {day_words(days)}"


_WRITERS = {
    "absence": _absence,
    "late_arrival": _late_arrival,
    "extra_shift": _extra_shift,
    "closed_day": _closed_day,
    "out_of_use": _out_of_use,
    "temperature": _temperature,
}

TABLES: dict[str, tuple[type[Model], str]] = {
    "day-changes": (DayChange, "person__site"),
    "closed-days": (ClosedDay, "site"),
    "outages": (Outage, "site"),
    "expected-temperatures": (ExpectedTemperature, "site"),
}
"""Where each change stands, by the name of its list in the API, and the way to its site."""


@transaction.atomic
def take_back(*, site: Site, table: str, ids: Iterable[int]) -> None:
    """
    Delete what was entered in error or no longer holds.

    Raises
    ------
    NotFound
        When one of the rows is not there, or at another site; nothing is deleted then.
    """
    if table not in TABLES:
        raise NotFound(f"{table[:40]!r} is no list of changes.")
    wanted = set(ids)
    model, path = TABLES[table]
    rows = list(model._default_manager.filter(pk__in=wanted, **{path: site}))
    if len(rows) != len(wanted):
        raise NotFound("This change is no longer there; it may have been taken back already.")
    for row in rows:
        row.delete()


def rows_of(reported: Reported) -> Iterator[tuple[str, int]]:
    """Yield list and id of each row that a change was entered as."""
    names = {model: name for name, (model, _) in TABLES.items()}
    for row in reported.rows:
        yield names[type(row)], row.pk
