"""
The clocks of one poured lift: peak, next lift, window of pouring over, demould.

Nothing opens early: every `go_h` is on the careful side of what is not known. The answer depends
on the set of readings and on the moment asked about, never on the order of entry.
"""

from __future__ import annotations

from dataclasses import replace

from planning.core.clock_types import (
    AIR,
    CORE,
    OVEN,
    SURFACE,
    CastingClocks,
    Clock,
    PouredLift,
)
from planning.core.sheet_times import early_clock, late_clock
from planning.core.surroundings import Surroundings, implausible, surroundings

_FEW = 3
_RISE_K, _FALL_K = 4.0, 2.0
_FALLING = 3
_RECENT_H = 1.0


def clocks_of(lift: PouredLift) -> CastingClocks:
    """
    Return the clocks of a poured lift at the moment `lift.now_h`.

    Parameters
    ----------
    lift : PouredLift
        System, shape, readings so far, expected room, events.

    Returns
    -------
    CastingClocks
        Best estimates, times on the careful side, what they rest on and what would help.

    Notes
    -----
    A `go_h` ahead of `now_h` is a forecast with the room expected; it may move when that time has
    come. Only `Clock.is_open` with the same `now_h` opens anything.
    """
    around = surroundings(lift)
    return _by_sheet(lift, around)


def _by_sheet(lift: PouredLift, around: Surroundings) -> CastingClocks:
    sheet, planned = lift.system.datasheet, lift.planned
    hours = {} if planned is None else vars(planned)
    over = _peak_over(lift, around)
    peak = late_clock(lift, around, sheet.gel, hours.get("peak_h"))
    if over is not None:
        peak = Clock(over, over, "model", range_h=(over, over))
    cured = late_clock(lift, around, sheet.demould, hours.get("demould_h"))
    cool_h = _cool_since(lift, cured)
    go_h = None if cool_h is None or cured.go_h is None else max(cool_h, cured.go_h)
    return CastingClocks(
        peak=peak,
        opens=late_clock(lift, around, sheet.least_gap, hours.get("opens_h")),
        closes=early_clock(lift, around, sheet.greatest_gap, hours.get("closes_h")),
        demould=replace(cured, go_h=go_h),
        cured=cured,
        peak_seen=over is not None,
        own_heat_counts=False,
        needs_cool_reading=cool_h is None,
        in_oven=around.in_oven,
        ranged=len(lift.seen()) <= _FEW or not any(r.in_body for r in lift.seen()),
        asks=_asks(lift, around, cool_h is None),
        holes=around.holes,
        implausible=implausible(lift),
    )


def _peak_over(lift: PouredLift, around: Surroundings) -> float | None:
    """Return the hour of the hottest core reading once the readings after it fall for good."""
    core = [r for r in lift.seen() if r.where == CORE]
    if len(core) < _FALLING + 1:
        return None
    top = max(core, key=lambda r: r.celsius)
    room_c = lift.expected_c if lift.mix_c is None else lift.mix_c
    after = [r for r in core if r.hour > top.hour]
    rise = top.celsius - min(r.celsius for r in core if r.hour <= top.hour)
    fallen = [r for r in after if r.celsius <= top.celsius - _FALL_K]
    # A sensor that fell out drops at once; a casting is seen on its way down.
    on_the_way = [r for r in fallen if r.celsius > room_c + 0.3 * (top.celsius - room_c)]
    if rise < _RISE_K or len(fallen) < _FALLING or not on_the_way:
        return None
    return top.hour


def _cool_since(lift: PouredLift, cured: Clock) -> float | None:
    """Return when a body reading showed the casting cool enough to handle, if it still is."""
    if cured.go_h is None:
        return None
    since = cured.go_h / lift.margins.sheet_factor
    for stay in lift.stays:
        since = max(since, float("inf") if stay.out_h is None else stay.out_h)
    late = [r for r in lift.seen() if r.in_body and r.hour >= since]
    if not late or late[-1].celsius > lift.margins.hand_safe_c:
        return None
    cool = late[-1]
    for reading in reversed(late):
        if reading.celsius > lift.margins.hand_safe_c:
            break
        cool = reading
    return cool.hour


def _asks(lift: PouredLift, around: Surroundings, cooling: bool) -> tuple[str, ...]:
    def fresh(*places: str) -> bool:
        return any(r.where in places and r.hour >= lift.now_h - 4 * _RECENT_H for r in lift.seen())

    asked = []
    if around.in_oven:
        asked += ["out of oven"] + ([] if fresh(OVEN) else [OVEN])
    elif not fresh(AIR):
        asked.append(AIR)
    if cooling and not fresh(SURFACE, CORE):
        asked.append(SURFACE)
    return tuple(asked)
