"""
The clocks of one poured lift: peak, next lift, window of pouring over, demould.

Nothing opens early: every `go_h` is on the careful side of what is not known. The answer depends
on the set of readings and on the moment asked about, never on the order of entry.
"""

from __future__ import annotations

import math
from dataclasses import replace

from planning.core.casting.clock_types import (
    AIR,
    AIR_FRESH_H,
    CORE,
    OVEN,
    SURFACE,
    CastingClocks,
    Clock,
    PouredLift,
    air_fresh_h,
)
from planning.core.casting.cure import demould_conversion
from planning.core.casting.lane_spans import too_hot_oven
from planning.core.casting.model_clock import ModelClocks, model_clocks, stricter_of
from planning.core.casting.posterior import too_hot
from planning.core.casting.sheet_times import early_clock, late_clock, shifted
from planning.core.casting.surroundings import Surroundings, implausible, surroundings
from planning.core.casting.system import TimePoint
from planning.core.casting.thinning import thinned

_FEW = 3
_RISE_K, _FALL_K = 4.0, 2.0
_FALLING = 3


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
    lift = replace(lift, readings=thinned(lift.seen()))
    around = surroundings(lift)
    by_sheet = _by_sheet(lift, around)
    need = demould_conversion(lift.system)
    if not lift.system.computable or need is None:
        return by_sheet
    return _by_model(lift, around, by_sheet, need)


def _by_model(
    lift: PouredLift, around: Surroundings, by_sheet: CastingClocks, need: float
) -> CastingClocks:
    model, sheet = _each_way(lift, around, need), lift.system.datasheet
    own = [r for r in lift.seen() if too_hot(lift, r)]
    over = _peak_over(lift)
    peak = _late(model, "peak", None)
    if over is not None:
        peak = replace(peak, go_h=over[1] if peak.go_h is None else min(peak.go_h, over[1]))
    demould = _late(model, "demould", _sheet_h(lift, around, sheet.demould))
    cured = _late(model, "cured", _sheet_h(lift, around, sheet.demould))
    if lift.mould_hot:
        # Nobody says when such a mould is no longer heated, so a cool face has to be read.
        cool_h = _cool_since(lift, demould)
        go_h = None if cool_h is None or demould.go_h is None else max(cool_h, demould.go_h)
        demould = replace(demould, go_h=go_h)
    waits = too_hot_oven(lift)
    few = len(lift.seen()) <= _FEW or not any(r.in_body for r in lift.seen())
    return replace(
        by_sheet,
        peak=peak,
        opens=_late(model, "opens", _sheet_h(lift, around, sheet.least_gap)),
        closes=_early(model, "bonds", _sheet_h(lift, around, sheet.greatest_gap)),
        demould=Clock(None, None, demould.basis) if waits else demould,
        cured=cured,
        own_heat_counts=model.heat_seen,
        needs_cool_reading=lift.mould_hot and demould.go_h is None and not demould.stalled,
        ranged=few or cured.stalled or demould.stalled,
        asks=_model_asks(lift, around, model),
        implausible=(*by_sheet.implausible, *own),
        peak_c=model.peak_c,
        conversion=model.conversion,
        tg_c=model.tg_c,
        computed={
            name: (model.early[name], model.best[name], model.late[name]) for name in model.best
        },
    )


def _each_way(lift: PouredLift, around: Surroundings, need: float) -> ModelClocks:
    """Return the clocks by the model, the careful ones of a mould as the shop and held."""
    plain, *held = (model_clocks(way, around, need) for way in lift.each_way())
    return stricter_of(plain, held[0], cooling=not lift.mould_hot) if held else plain


def _sheet_h(
    lift: PouredLift, around: Surroundings, point: TimePoint | None
) -> tuple[float, float, float] | None:
    if point is None:
        return None
    moved = shifted(lift, around, point)
    return moved.early_h, moved.best_h, moved.late_h


def _late(model: ModelClocks, name: str, sheet: tuple[float, float, float] | None) -> Clock:
    """Return the later of model and data sheet."""
    rows = [(model.early[name], model.best[name], model.late[name])] + ([sheet] if sheet else [])
    early, best, late = (max(column) for column in zip(*rows, strict=True))
    basis = "datasheet" if sheet and sheet[2] > model.late[name] else "model"
    return Clock(
        _finite(best), _finite(late), basis,
        stalled=math.isinf(late), range_h=(_finite(early), _finite(late)),
    )  # fmt: skip


def _early(model: ModelClocks, name: str, sheet: tuple[float, float, float] | None) -> Clock:
    """Return the earlier of model and data sheet, on its early side."""
    rows = [(model.early[name], model.best[name], model.late[name])] + ([sheet] if sheet else [])
    early, best, late = (min(column) for column in zip(*rows, strict=True))
    basis = "datasheet" if sheet and sheet[0] < model.early[name] else "model"
    if math.isinf(early):
        return Clock(None, None, "unknown")
    return Clock(_finite(best), _finite(early), basis, range_h=(_finite(early), _finite(late)))


def _finite(hours: float) -> float | None:
    return hours if math.isfinite(hours) else None


def _model_asks(lift: PouredLift, around: Surroundings, model: ModelClocks) -> tuple[str, ...]:
    asked = list(_asks(lift, around, cooling=lift.mould_hot))
    if not model.heat_seen:
        asked.append(CORE)
    return tuple(asked)


def _by_sheet(lift: PouredLift, around: Surroundings) -> CastingClocks:
    sheet, planned = lift.system.datasheet, lift.planned
    hours = {} if planned is None else vars(planned)
    over = _peak_over(lift)
    peak = late_clock(lift, around, sheet.gel, hours.get("peak_h"))
    # Where no gap is printed or planned, the next lift waits until the lower one is cured.
    cured_first = None if hours.get("opens_h") else sheet.demould
    if over is not None:
        peak = Clock(over[0], over[1], "model", range_h=over)
    cured = late_clock(lift, around, sheet.demould, hours.get("demould_h"))
    cool_h = _cool_since(lift, cured)
    go_h = None if cool_h is None or cured.go_h is None else max(cool_h, cured.go_h)
    return CastingClocks(
        peak=peak,
        opens=late_clock(lift, around, sheet.least_gap or cured_first, hours.get("opens_h")),
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


def _peak_over(lift: PouredLift) -> tuple[float, float] | None:
    """Return when a core log was hottest, and when it had fallen for good; None: not yet."""
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
    return top.hour, fallen[_FALLING - 1].hour


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
    def fresh(*places: str, within_h: float = AIR_FRESH_H) -> bool:
        return any(r.where in places and r.hour >= lift.now_h - within_h for r in lift.seen())

    asked = []
    if around.in_oven:
        asked += ["out of oven"] + ([] if fresh(OVEN) else [OVEN])
    elif not fresh(AIR, within_h=air_fresh_h(lift.now_h)):
        asked.append(AIR)
    if cooling and not fresh(SURFACE, CORE):
        asked.append(SURFACE)
    return tuple(asked)
