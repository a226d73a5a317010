"""From what the core answers to the columns of a `Cure`."""

from __future__ import annotations

import logging
from datetime import datetime, timedelta
from typing import Any

from planning.batches.models import Lift
from planning.clocks.models import Waits
from planning.core.casting.clock_types import CastingClocks, Clock, PouredLift

log = logging.getLogger(__name__)

NAMES = ("peak", "opens", "closes", "demould", "cured")
SOURCES = {
    "model": "computed from the kinetics",
    "datasheet": "data sheet time, moved by the temperatures around it",
    "planned": "planned time, moved by the temperatures around it",
    "unknown": "not known",
}


def ask(asked: PouredLift) -> CastingClocks | None:
    """Return the clocks of a lift; None where its figures make no sense, which opens nothing."""
    from planning.core.casting.casting_clock import clocks_of  # reads numpy

    try:
        return clocks_of(asked)
    except (ValueError, ArithmeticError):
        log.exception("The clocks of a lift of %s could not be worked out.", asked.system.name)
        return None


def columns(
    lift: Lift, poured_at: datetime, asked: PouredLift, clocks: CastingClocks, *, covered: bool
) -> dict[str, Any]:
    """
    Return the columns of a `Cure` from the clocks of its lift.

    Of a lift that is covered by the next one, cooling is asked of that: it was warm last.

    Times are whole minutes of the wall clock, as people are told them: something that opens is
    rounded up, so nobody who comes at the minute told is sent away; what closes is rounded down.
    """
    shown = {reading.hour for reading in asked.seen()}

    def late(hours: float | None) -> datetime | None:
        if hours is None:
            return None
        at = poured_at + timedelta(hours=hours)
        # What a reading showed is so from that moment on; only a forecast is rounded.
        return at if hours in shown else _minute_from(at)

    def early(hours: float | None) -> datetime | None:
        return None if hours is None else _minute_of(poured_at + timedelta(hours=hours))

    def best(hours: float | None) -> datetime | None:
        if hours is None:
            return None
        return _minute_of(poured_at + timedelta(hours=hours, seconds=30))

    demould = clocks.demould
    if covered and clocks.needs_cool_reading:
        demould = clocks.cured
    closes_at = early(clocks.closes.go_h)
    if closes_at is None and lift.gap_greatest_min:
        closes_at = poured_at + timedelta(minutes=lift.gap_greatest_min)
    return {
        "peak_due_at": late(clocks.peak.go_h),
        "peak_best_at": best(clocks.peak.best_h),
        "attend_until": _attend_until(lift, poured_at, clocks, late(clocks.peak.go_h)),
        "next_opens_at": late(clocks.opens.go_h),
        "opens_best_at": best(clocks.opens.best_h),
        "next_closes_at": closes_at,
        "closes_best_at": best(clocks.closes.best_h),
        "demould_due_at": late(demould.go_h),
        "demould_best_at": best(demould.best_h),
        "cured_due_at": late(clocks.cured.go_h),
        "cured_best_at": best(clocks.cured.best_h),
        "waits_for": _waits(demould, clocks),
        "asks": [] if covered else list(clocks.asks),
        "ranged": clocks.ranged and not covered,
        "ranges": {name: _range(getattr(clocks, name)) for name in NAMES},
        "holes": [
            {
                "from_h": round(hole.from_h, 2),
                "to_h": round(hole.to_h, 2),
                "counted_c": round(hole.counted_c, 1),
            }
            for hole in clocks.holes
        ],
        "left_out": len(clocks.implausible),
        "basis": _basis(asked, demould),
    }


UNKNOWN: dict[str, Any] = {
    **dict.fromkeys(
        (
            "peak_due_at", "peak_best_at", "attend_until", "next_opens_at", "opens_best_at",
            "next_closes_at", "closes_best_at", "demould_due_at", "demould_best_at",
            "cured_due_at", "cured_best_at",
        )
    ),
    "waits_for": Waits.NOT_KNOWN,
    "asks": [],
    "ranged": False,
    "ranges": {},
    "holes": [],
    "left_out": 0,
    "basis": "could not be worked out: look at the figures of its resin system",
}  # fmt: skip
"""Of a lift whose clocks could not be worked out: nothing opens."""


def _attend_until(
    lift: Lift, poured_at: datetime, clocks: CastingClocks, late: datetime | None
) -> datetime | None:
    """
    Return until when somebody stays with a lift that may get hot.

    A model that has seen no heat yet counts on a lift that stays cool, and so warms late: that
    peak harms nobody. Until heat is seen, the planned time and the best estimate count instead.
    """
    if late is not None and (clocks.own_heat_counts or clocks.peak.basis != "model"):
        return late
    hours = max(clocks.peak.best_h or 0.0, lift.attend_min / 60)
    return _minute_from(poured_at + timedelta(hours=hours)) if hours else late


def _minute_from(at: datetime) -> datetime:
    """Return the first whole minute that is not before a moment."""
    whole = _minute_of(at)
    return whole if whole == at else whole + timedelta(minutes=1)


def _minute_of(at: datetime) -> datetime:
    return at.replace(second=0, microsecond=0)


def _waits(demould: Clock, clocks: CastingClocks) -> str:
    if demould.go_h is not None:
        return ""
    if demould.stalled or clocks.cured.stalled:
        return Waits.STALLED
    if clocks.in_oven:
        return Waits.OUT_OF_OVEN
    return Waits.COOL_READING if clocks.needs_cool_reading else Waits.NOT_KNOWN


def _range(clock: Clock) -> list[float | None]:
    return [None if hours is None else round(hours, 2) for hours in clock.range_h]


def _basis(asked: PouredLift, demould: Clock) -> str:
    seen = len(asked.seen())
    over = (
        f"{seen} {'temperature' if seen == 1 else 'temperatures'} seen"
        if seen
        else f"at {asked.expected_c:g} °C expected in the shop, no temperature seen"
    )
    return f"{SOURCES[demould.basis]}; {over}"
