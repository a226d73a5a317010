"""The one place that asks what time it is, and the zone of each site."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import Protocol
from zoneinfo import ZoneInfo


class InZone(Protocol):
    """Anything with a zone, such as a site."""

    @property
    def time_zone(self) -> str:
        """Return the IANA name of the zone."""


@lru_cache(maxsize=64)
def zone(name: str) -> ZoneInfo:
    """Return the zone of an IANA name."""
    return ZoneInfo(name)


def now() -> datetime:
    """Return the present moment, in UTC."""
    return datetime.now(UTC)


def today(site: InZone) -> date:
    """Return the present day at a site."""
    return local(now(), site).date()


def local(at: datetime, site: InZone) -> datetime:
    """Return a moment as the clock on the site's wall shows it."""
    return at.astimezone(zone(site.time_zone))


def day_start(day: date, site: InZone) -> datetime:
    """Return the moment, in UTC, at which a day begins at a site."""
    return datetime.combine(day, time.min, zone(site.time_zone)).astimezone(UTC)


def day_end(day: date, site: InZone) -> datetime:
    """Return the moment, in UTC, at which a day is over at a site."""
    # Labels say 9999-12-31 for "does not expire": the day after it is no day any more.
    return day_start(min(day, date.max - timedelta(days=2)) + timedelta(days=1), site)
