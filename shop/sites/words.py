"""How days, hours and spans of a shop's changes are written for people."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time

from shared import clock


def day_words(days: Sequence[date]) -> str:
    """Return `on Mon 30 Nov`, or `from Mon 30 Nov to Fri 04 Dec`."""
    if len(days) == 1:
        return f"on {days[0]:%a %d %b}"
    return f"from {days[0]:%a %d %b} to {days[-1]:%a %d %b}"


def hours_words(starts: time | None, ends: time | None) -> str:
    """Return ` from 07:00 to 09:30`; empty where the whole day counts."""
    if starts is None or ends is None:
        return ""
    if starts == time.min:
        return f" until {ends:%H:%M}"
    return f" from {starts:%H:%M} to {ends:%H:%M}"


def span_words(starts_at: datetime, ends_at: datetime, site: clock.InZone) -> str:
    """Return a stretch of time as the clock on the site's wall shows it."""
    first, last = clock.local(starts_at, site), clock.local(ends_at, site)
    end = f"{last:%H:%M}" if first.date() == last.date() else f"{last:%a %d %b %H:%M}"
    return f"from {first:%a %d %b %H:%M} to {end}"
