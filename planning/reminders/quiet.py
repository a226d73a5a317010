"""Quiet hours: local times between which nobody is written to. Pure."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo


def held_until(moment: datetime, zone: ZoneInfo, quiet_from: time, quiet_until: time) -> datetime:
    """
    Return the moment itself, or the end of the quiet hours it falls into, in UTC.

    Quiet hours may run past midnight; from equal to until means none. An end the clock skips when
    it goes forward counts by the offset before the change, one it passes twice the first time that
    still lies ahead (RFC 5545 section 3.3.5 reads local times alike).
    """
    local = moment.astimezone(zone)
    wall = local.time()
    if quiet_from < quiet_until:
        quiet = quiet_from <= wall < quiet_until
    else:
        quiet = quiet_from != quiet_until and (wall >= quiet_from or wall < quiet_until)
    if not quiet:
        return moment
    days = (local.date(), local.date() + timedelta(days=1))
    ends = (_instant(day, quiet_until, zone, fold) for day in days for fold in (0, 1))
    return next(end for end in ends if end > moment)


def _instant(day: date, wall: time, zone: ZoneInfo, fold: int) -> datetime:
    return datetime.combine(day, wall.replace(fold=fold), zone).astimezone(UTC)
