"""Castings that are cured and cool, by readings as people take them."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

MOST_LOOKS = 100


def watch_air(site: Any, since: datetime, hours: int, celsius: str = "22.0") -> None:
    """Read the air of a shop every hour, the last time so many hours after a moment."""
    from planning.clocks.actions import log_temperatures

    rows = [
        {"key": f"air:{site.pk}:{since}:{n}", "at": since + timedelta(hours=n),
         "celsius": Decimal(celsius), "where": "air", "confirmed": True}
        for n in range(hours + 1)
    ]  # fmt: skip
    log_temperatures(site_id=site.pk, rows=rows, now=rows[-1]["at"])


def ready(pour: Any, celsius: str = "24.0") -> datetime:
    """Measure a casting's face once it is cured, and return from when on it may be taken off."""
    from planning.clocks.actions import log_temperatures
    from planning.clocks.standing import asked_now, standing

    stands = standing(pour)
    at = stands.expected_at
    for n in range(MOST_LOOKS):
        if stands.waits_for:
            row = {"key": f"cool:{pour.pk}:{n}", "at": at, "celsius": Decimal(celsius),
                   "where": "surface", "pour": pour, "confirmed": True}  # fmt: skip
            log_temperatures(site_id=pour.order.site_id, rows=[row], now=at)
        stands = asked_now(pour, at)
        if stands.may_demould(at):
            return at
        at = max(at + timedelta(minutes=10), stands.expected_at or at)
    raise AssertionError(f"{pour} is never ready: {stands.waits_for or stands.ready_at}")


def open_for_next(pour: Any) -> datetime:
    """Return from when on a casting bears its next lift."""
    from planning.clocks.standing import asked_now, standing

    stands = standing(pour)
    for _ in range(MOST_LOOKS):
        at = stands.opens_at
        stands = asked_now(pour, at)
        if stands.may_pour_over(at):
            return at
    raise AssertionError(f"{pour} never bears its next lift: {stands.opens_at}")
