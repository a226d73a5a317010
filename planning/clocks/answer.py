"""From what the core answers to the columns of a `Cure`."""

from __future__ import annotations

import logging
import math
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from planning.batches.models import Lift
from planning.clocks.models import Waits
from planning.clocks.words import edges_words
from planning.core.casting.clock_types import SURFACE, CastingClocks, Clock, PouredLift
from planning.pours.models import Pour, ToolSide

if TYPE_CHECKING:
    from planning.core.casting.edges import Mould, Shares

log = logging.getLogger(__name__)

NAMES = ("peak", "opens", "closes", "demould", "cured")
SOURCES = {
    "model": "computed from the kinetics",
    "datasheet": "data sheet time, moved by the temperatures around it",
    "planned": "planned time, moved by the temperatures around it",
    "unknown": "not known",
}


@dataclass(frozen=True)
class Answer:
    """The clocks of a lift with its edges counted."""

    clocks: CastingClocks
    shares: Shares | None
    """How much later its edges are; None where the data sheet's times hold."""
    width_known: bool

    @property
    def edges(self) -> dict[str, Any]:
        """Return what a `Cure` keeps of it; empty where the data sheet's times hold."""
        if self.shares is None:
            return {}
        # Told to a tenth, rounded up.
        share = math.ceil(round(10 * self.shares.demould, 6)) / 10
        return {"share": share, "width_known": self.width_known}


def mould_of(pour: Pour, depth_mm: float, mass_kg: float, density_kg_m3: float) -> Mould:
    """Return what is known of a lift of a pour, seen from above."""
    from planning.core.casting.edges import Mould  # reads numpy

    return Mould(
        area_mm2=mass_kg / density_kg_m3 * 1e9 / depth_mm,
        metal=pour.tool_side == ToolSide.METAL,
        length_mm=None if pour.length_mm is None else float(pour.length_mm),
        width_mm=None if pour.width_mm is None else float(pour.width_mm),
    )


def ask(asked: PouredLift, pour: Pour, mass_kg: float) -> Answer | None:
    """Return the clocks of a lift; None where its figures make no sense, which opens nothing."""
    thermal = asked.system.thermal
    if thermal is None:
        return ask_in(asked, None)
    try:
        mould = mould_of(pour, asked.depth_mm, mass_kg, thermal.density_kg_m3)
    except (ValueError, ArithmeticError):
        log.exception("The mould of a lift of %s makes no sense.", asked.system.name)
        return None
    return ask_in(asked, mould)


def ask_in(asked: PouredLift, mould: Mould | None) -> Answer | None:
    """Return the clocks of a lift in its mould; None where its figures make no sense."""
    from planning.core.casting.casting_clock import clocks_of  # reads numpy
    from planning.core.casting.edges import with_edges

    try:
        clocks = clocks_of(asked)
        if mould is None:
            return Answer(clocks, None, width_known=False)
        return Answer(*with_edges(asked, clocks, mould), width_known=mould.width_known)
    except (ValueError, ArithmeticError):
        log.exception("The clocks of a lift of %s could not be worked out.", asked.system.name)
        return None


def columns(
    lift: Lift, poured_at: datetime, asked: PouredLift, found: Answer, *, covered: bool
) -> dict[str, Any]:
    """
    Return the columns of a `Cure` from the clocks of its lift.

    Of a lift that is covered by the next one, cooling is asked of that: it was warm last.

    Times are whole minutes of the wall clock, as people are told them: something that opens is
    rounded up, so nobody who comes at the minute told is sent away; what closes is rounded down.
    """
    clocks = found.clocks
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
    hot = not covered and _is_hot(asked, demould)
    if hot:
        demould = replace(demould, go_h=None)
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
        "waits_for": _waits(demould, clocks, hot),
        "asks": [] if covered else list(dict.fromkeys((SURFACE,) * hot + clocks.asks)),
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
        "edges": found.edges,
        "basis": f"{_basis(asked, demould)}; {edges_words(found.edges)}",
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
    "edges": {},
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


def _is_hot(asked: PouredLift, demould: Clock) -> bool:
    """Whether its time has come and it was too hot to handle when it was last read."""
    if demould.go_h is None or demould.go_h > asked.now_h:
        return False
    own = [reading for reading in asked.seen() if reading.in_body]
    last = [reading.celsius for reading in own if reading.hour == own[-1].hour]
    return max(last, default=-math.inf) > asked.margins.hand_safe_c


def _waits(demould: Clock, clocks: CastingClocks, hot: bool) -> str:
    if demould.go_h is not None:
        return ""
    if demould.stalled or clocks.cured.stalled:
        return Waits.STALLED
    if clocks.in_oven:
        return Waits.OUT_OF_OVEN
    return Waits.COOL_READING if hot or clocks.needs_cool_reading else Waits.NOT_KNOWN


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
