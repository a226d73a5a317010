"""Reading what a site works with: people and their hours, mixers, places, scales, weather."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields, replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from operator import attrgetter
from typing import Any, TypeVar

from shared import clock, wall_clock
from shared.access.models import Site
from shop.sites.models import (
    ClosedDay,
    DayChange,
    ExpectedTemperature,
    Mixer,
    Outage,
    Person,
    Place,
    Scale,
    Shift,
    SiteThing,
)
from shop.sites.words import day_words, hours_words, span_words
from shop.stores_types import MixerInfo, PersonInfo, PlaceInfo, ScaleInfo, SiteWeek

MOST_COMING = 60
"""So many coming changes are listed."""
Stretch = tuple[time, time]
Info = TypeVar("Info", MixerInfo, PlaceInfo, ScaleInfo)
Closable = TypeVar("Closable", MixerInfo, PlaceInfo)
Outages = dict[int, list[tuple[datetime, datetime]]]


def joined(stretches: Iterable[Stretch]) -> list[Stretch]:
    """Sort stretches of one day and join those that overlap; touching ones stay apart."""
    result: list[Stretch] = []
    for starts, ends in sorted(stretches):
        if result and starts < result[-1][1]:
            result[-1] = (result[-1][0], max(ends, result[-1][1]))
        else:
            result.append((starts, ends))
    return result


def without(stretches: Iterable[Stretch], away: Stretch) -> list[Stretch]:
    """Cut the time away out of stretches of one day."""
    left = []
    for starts, ends in stretches:
        left += [(starts, min(ends, away[0])), (max(starts, away[1]), ends)]
    return [(starts, ends) for starts, ends in left if starts < ends]


def day_hours(usual: Iterable[Stretch], changes: Iterable[DayChange]) -> list[Stretch]:
    """Return one person's stretches of work on one day: the usual, less time away, plus extra."""
    hours, extra = list(usual), []
    for change in changes:
        if change.starts is None or change.ends is None:
            hours = []
        elif change.extra:
            extra.append((change.starts, change.ends))
        else:
            hours = without(hours, (change.starts, change.ends))
    return joined([*hours, *extra])


def site_week(site_id: int, first_day: date, days: int) -> SiteWeek:
    """Return what a site has to work with from a first day on, for a number of days."""
    site = Site.objects.get(pk=site_id)
    span = [first_day + timedelta(days=n) for n in range(days)]
    in_span = {"site": site, "day__gte": span[0], "day__lte": span[-1]}
    closed = tuple(ClosedDay.objects.filter(**in_span).values_list("day", flat=True))
    expected = dict(ExpectedTemperature.objects.filter(**in_span).values_list("day", "shop_c"))
    closed_mixers, closed_places = _outages(site, span[0], span[-1])
    return SiteWeek(
        site_id=site.pk,
        time_zone=site.time_zone,
        people=_people(site, [day for day in span if day not in closed]),
        mixers=_with_outages(_things(Mixer, MixerInfo, site), closed_mixers),
        places=_with_outages(_things(Place, PlaceInfo, site), closed_places),
        scales=_things(Scale, ScaleInfo, site),
        expected_c={day: Decimal(expected.get(day, site.expected_c)) for day in span},
        closed_days=closed,
    )


def people_at(site_id: int) -> tuple[tuple[int, str, int | None], ...]:
    """Return id, name and sign-in of everybody who works at a site; one query."""
    rows = Person.objects.filter(site=site_id, in_use=True)
    return tuple(rows.values_list("pk", "name", "user"))


def _things(model: type[SiteThing], info: type[Info], site: Site) -> tuple[Info, ...]:
    rows: Iterable[Any] = model._default_manager.filter(site=site, in_use=True)
    names = [f.name for f in fields(info) if f.name != "closed"]
    return tuple(info(**{name: getattr(row, name) for name in names}) for row in rows)


def _with_outages(things: tuple[Closable, ...], closed: Outages) -> tuple[Closable, ...]:
    return tuple(replace(one, closed=tuple(closed.get(one.id, ()))) for one in things)


def _outages(site: Site, first: date, last: date) -> tuple[Outages, Outages]:
    """Return when mixers, and when places, are out of use, by id."""
    zone = clock.zone(site.time_zone)
    rows = Outage.objects.filter(
        site=site,
        ends_at__gt=datetime.combine(first, time.min, zone),
        starts_at__lt=datetime.combine(last + timedelta(days=1), time.min, zone),
    )
    mixers: Outages = {}
    places: Outages = {}
    for row in rows:
        one, key = (mixers, row.mixer_id) if row.mixer_id else (places, row.place_id)
        one.setdefault(key or 0, []).append((row.starts_at, row.ends_at))
    return mixers, places


def _people(site: Site, open_days: list[date]) -> tuple[PersonInfo, ...]:
    zone = clock.zone(site.time_zone)
    people = Person.objects.filter(site=site, in_use=True)
    usual: dict[tuple[int, int], list[Stretch]] = {}
    for shift in Shift.objects.filter(person__in=people):
        key = (shift.person_id, shift.weekday)
        usual.setdefault(key, []).append((shift.starts, shift.ends))
    changes: dict[tuple[int, date], list[DayChange]] = {}
    for change in DayChange.objects.filter(person__in=people, day__in=open_days):
        changes.setdefault((change.person_id, change.day), []).append(change)

    return tuple(
        PersonInfo(
            id=person.pk,
            code=person.code,
            name=person.name,
            skills=tuple(person.skills),
            user_id=person.user_id,
            shifts=tuple(
                hours
                for day in open_days
                for starts, ends in day_hours(
                    usual.get((person.pk, day.isoweekday()), []),
                    changes.get((person.pk, day), []),
                )
                if (hours := wall_clock.span(day, starts, ends, zone)) is not None
            ),
        )
        for person in people
    )


def stamp(site_id: int) -> str:
    """Return a text that differs once what `site_week` reads of a site has changed."""
    things = [
        list(model._default_manager.filter(site=site_id).order_by("pk").values_list())
        for model in (Person, Mixer, Scale, Place, ClosedDay, ExpectedTemperature, Outage)
    ]
    hours = [
        list(model._default_manager.filter(person__site=site_id).order_by("pk").values_list())
        for model in (Shift, DayChange)
    ]
    site = Site.objects.filter(pk=site_id).values_list("time_zone", "expected_c")
    return repr((things, hours, list(site)))


@dataclass(frozen=True)
class ComingChange:
    """Something that will be otherwise on some days: rows that were entered as one."""

    table: str
    """The list of the API its rows stand in."""
    ids: tuple[int, ...]
    first_day: date
    words: str


def coming_changes(site: Site, now: datetime) -> list[ComingChange]:
    """Return what is entered for today and later, the soonest first; days on end as one."""
    today = clock.local(now, site).date()
    found = [*_coming_days(site, today)]
    for row in ClosedDay.objects.filter(site=site, day__gte=today)[:MOST_COMING]:
        words = f"The shop is closed {day_words([row.day])}{_because(row.reason)}"
        found.append(ComingChange("closed-days", (row.pk,), row.day, words))
    outages = Outage.objects.filter(site=site, ends_at__gt=now).select_related("mixer", "place")
    for out in outages[:MOST_COMING]:
        span = span_words(out.starts_at, out.ends_at, site)
        words = f"{out.thing} is out of use {span}{_because(out.reason)}"
        day = clock.local(out.starts_at, site).date()
        found.append(ComingChange("outages", (out.pk,), day, words))
    for warm in ExpectedTemperature.objects.filter(site=site, day__gte=today)[:MOST_COMING]:
        words = f"{warm.shop_c} °C are expected in the shop {day_words([warm.day])}"
        found.append(ComingChange("expected-temperatures", (warm.pk,), warm.day, words))
    return sorted(found, key=lambda one: (one.first_day, one.words))[:MOST_COMING]


def _coming_days(site: Site, today: date) -> Iterator[ComingChange]:
    rows = DayChange.objects.filter(person__site=site, day__gte=today).select_related("person")
    runs: list[list[DayChange]] = []
    key = attrgetter("person_id", "starts", "ends", "extra", "reason")
    for row in sorted(rows[: 4 * MOST_COMING], key=lambda row: (str(key(row)), row.day)):
        last = runs[-1][-1] if runs else None
        if last and key(last) == key(row) and row.day - last.day <= timedelta(days=1):
            runs[-1].append(row)
        else:
            runs.append([row])
    for run in runs:
        one = run[0]
        what = "works extra hours" if one.extra else "is away"
        words = (
            f"{one.person} {what} {day_words([row.day for row in run])}"
            f"{hours_words(one.starts, one.ends)}{_because(one.reason)}"
        )
        ids = tuple(row.pk for row in run)
        yield ComingChange("day-changes", ids, one.day, words)


def _because(reason: str) -> str:
    return f" ({reason})." if reason else "."
