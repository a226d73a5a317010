"""Times that people read off the wall: the moment meant, also on the night the clocks change."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from shared.errors import Invalid

Twice = Literal["ask", "earlier", "later"]
"""Which moment to take of a time that the clock shows twice; `ask` refuses it with a question."""

SKIPPED = "skipped_by_clock"
SHOWN_TWICE = "shown_twice"

_MINUTE = timedelta(minutes=1)


def moments_of(wall: datetime, zone: ZoneInfo) -> tuple[datetime, ...]:
    """
    Return the moments at which a clock on the wall shows a time.

    Parameters
    ----------
    wall : datetime
        Day and time without zone.
    zone : ZoneInfo
        Where the clock hangs.

    Returns
    -------
    tuple of datetime
        In UTC, the earlier first: none for a time that is skipped when the clock goes forward,
        two for one that it shows again after it has gone back, otherwise one. Outside the years
        1 to 9999 there is none.
    """
    try:
        found = {wall.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1)}
        return tuple(sorted(at for at in found if _shown(at, zone) == wall))
    except OverflowError:
        return ()


def moment(
    typed: str,
    zone: ZoneInfo,
    *,
    name: str,
    field: str = "at",
    twice: Twice = "ask",
    now: datetime | None = None,
) -> datetime:
    """
    Return the moment, in UTC, that was typed as a day and a time; an offset is believed.

    Parameters
    ----------
    typed : str
        Such as 2026-11-30T07:30, or with an offset 2026-11-30T07:30+01:00.
    zone : ZoneInfo
        Of the site.
    name, field : str
        The field as its page names it, and as programs do.
    twice : {"ask", "earlier", "later"}
        What to take of a time that the clock shows twice.
    now : datetime, optional
        For what has happened: `later` then means the later of those that are not ahead of it.

    Raises
    ------
    Invalid
        422 on the field: `not_a_time`, `skipped_by_clock` or `shown_twice`.
    """
    given = typed.strip()
    try:
        wall = datetime.fromisoformat(given)
        if wall.tzinfo is not None:
            return wall.astimezone(UTC)
    except (ValueError, OverflowError):
        words = f"{name} is {given[:40]!r}; give a day and a time, such as 2026-11-30T07:30."
        raise Invalid.one(field, "not_a_time", words, value=given[:40]) from None
    return resolved(wall, zone, name=name, field=field, twice=twice, now=now)


def resolved(
    wall: datetime,
    zone: ZoneInfo,
    *,
    name: str,
    field: str = "at",
    twice: Twice = "ask",
    now: datetime | None = None,
) -> datetime:
    """Return the moment, in UTC, of a day and a time without zone, as `moment` does."""
    found = moments_of(wall, zone)
    if not found:
        raise Invalid.one(field, SKIPPED, _skipped(wall, zone, name), value=wall.isoformat())
    if len(found) > 1 and twice == "ask":
        raise Invalid.one(
            field, SHOWN_TWICE, _both(wall, zone, name, found), value=wall.isoformat()
        )
    if twice == "later" and (now is None or found[-1] <= now):
        return found[-1]
    return found[0]


def span(day: date, starts: time, ends: time, zone: ZoneInfo) -> tuple[datetime, datetime] | None:
    """
    Return a stretch of one day by the clock on the wall as moments in UTC, never too long.

    On the night the clocks change it begins at the later and ends at the earlier of what may be
    meant; a time that is skipped begins and ends no work. None where nothing is left.
    """
    begin, end = datetime.combine(day, starts), datetime.combine(day, ends)
    first = max(moments_of(begin, zone) or [_change(begin, zone)])
    last = min(moments_of(end, zone) or [_change(end, zone)])
    return (first, last) if first < last else None


def clock_words(local: datetime) -> str:
    """Return the clock time of a moment in its zone, and which of two where it is shown twice."""
    folds = {local.replace(fold=fold).utcoffset() for fold in (0, 1)}
    which = "" if len(folds) == 1 else (" (second)" if local.fold else " (first)")
    return f"{local:%H:%M}{which}"


def _shown(at: datetime, zone: ZoneInfo) -> datetime:
    return at.astimezone(zone).replace(tzinfo=None)


def _change(wall: datetime, zone: ZoneInfo) -> datetime:
    """Return the moment at which the clock goes forward over a time that it never shows."""
    first, last = (wall.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (1, 0))
    while last - first > timedelta(seconds=1):
        middle = first + (last - first) / 2
        first, last = (first, middle) if _shown(middle, zone) > wall else (middle, last)
    # Clocks change on whole minutes.
    return (last + _MINUTE / 2).replace(second=0, microsecond=0)


def _skipped(wall: datetime, zone: ZoneInfo, name: str) -> str:
    if wall.year in (1, 9999):
        return f"{name} is {wall:%Y-%m-%d %H:%M}; check the year."
    change = _change(wall, zone)
    after = _shown(change, zone)
    before = change.astimezone(UTC) - _MINUTE
    last = _shown(before, zone)
    return (
        f"{name} is {wall:%a %d %b %Y %H:%M}; there is no such time, for the clock goes from "
        f"{last:%H:%M} to {after:%H:%M} that night. Give {last:%H:%M} or earlier, or "
        f"{after:%H:%M} or later."
    )


def _both(wall: datetime, zone: ZoneInfo, name: str, found: Iterable[datetime]) -> str:
    first, second = (at.astimezone(zone).isoformat(timespec="minutes") for at in found)
    return (
        f"{name} is {wall:%a %d %b %Y %H:%M}; the clock shows it twice, for it is put back that "
        f"night. Say which: the first, {first}, or the second, {second}."
    )
