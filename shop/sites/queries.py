"""Reading what a site works with: people and their hours, mixers, places, scales, weather."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any, TypeVar

from shared import clock
from shared.access.models import Site
from shop.sites.models import (
    ClosedDay,
    DayChange,
    ExpectedTemperature,
    Mixer,
    Person,
    Place,
    Scale,
    Shift,
    SiteThing,
)
from shop.stores_types import MixerInfo, PersonInfo, PlaceInfo, ScaleInfo, SiteWeek

Stretch = tuple[time, time]
Info = TypeVar("Info", MixerInfo, PlaceInfo, ScaleInfo)


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
    return SiteWeek(
        site_id=site.pk,
        time_zone=site.time_zone,
        people=_people(site, [day for day in span if day not in closed]),
        mixers=_things(Mixer, MixerInfo, site),
        places=_things(Place, PlaceInfo, site),
        scales=_things(Scale, ScaleInfo, site),
        expected_c={day: Decimal(expected.get(day, site.expected_c)) for day in span},
        closed_days=closed,
    )


def _things(model: type[SiteThing], info: type[Info], site: Site) -> tuple[Info, ...]:
    rows: Iterable[Any] = model._default_manager.filter(site=site, in_use=True)
    names = [f.name for f in fields(info)]
    return tuple(info(**{name: getattr(row, name) for name in names}) for row in rows)


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

    def at(day: date, hour: time) -> datetime:
        return datetime.combine(day, hour, zone).astimezone(UTC)

    return tuple(
        PersonInfo(
            id=person.pk,
            code=person.code,
            name=person.name,
            skills=tuple(person.skills),
            user_id=person.user_id,
            shifts=tuple(
                (at(day, starts), at(day, ends))
                for day in open_days
                for starts, ends in day_hours(
                    usual.get((person.pk, day.isoweekday()), []),
                    changes.get((person.pk, day), []),
                )
            ),
        )
        for person in people
    )


def stamp(site_id: int) -> str:
    """Return a text that differs once what `site_week` reads of a site has changed."""
    things = [
        list(model._default_manager.filter(site=site_id).order_by("pk").values_list())
        for model in (Person, Mixer, Scale, Place, ClosedDay, ExpectedTemperature)
    ]
    hours = [
        list(model._default_manager.filter(person__site=site_id).order_by("pk").values_list())
        for model in (Shift, DayChange)
    ]
    site = Site.objects.filter(pk=site_id).values_list("time_zone", "expected_c")
    return repr((things, hours, list(site)))
