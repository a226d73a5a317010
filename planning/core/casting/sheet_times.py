"""Clocks from the data sheet alone: its times, moved by what really surrounded the casting."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.core.casting.arrhenius import GAS_CONSTANT_J_MOLK, KELVIN
from planning.core.casting.clock_types import Clock, PouredLift
from planning.core.casting.soaking import soak_s
from planning.core.casting.surroundings import HOLE_H, STEP_H, Surroundings
from planning.core.casting.system import TimePoint

Array = NDArray[np.float64]
UNLIKE_K = 3.0
"""By which a body and the air around it may differ through their sensors alone."""


@dataclass(frozen=True)
class Shifted:
    """One printed time moved by the surroundings, hours from pouring."""

    best_h: float
    late_h: float
    """By the coldest that may have been and the slower of the careful activation energies."""
    early_h: float
    """By the warmest and the faster."""


def shifted(lift: PouredLift, around: Surroundings, point: TimePoint) -> Shifted:
    """
    Return when a printed time has run, by equivalent age over the surroundings.

    A casting takes hours to follow a warmer room or oven, so on the late side warmth counts only
    as it soaks in, cold at once, and that of a cold mould as well. Readings of core and surface
    are not used: a casting's own heat is in the printed time already.
    """
    cold, high = _no_warmer_than_body(lift, around), around.high
    low = np.minimum(cold, _soaked(lift, cold))
    if lift.mould_c is not None:
        low, high = np.minimum(low, lift.mould_c), np.maximum(high, lift.mould_c)
    pair, usual = lift.system.energies_j_mol, (lift.system.usual_e_j_mol,)
    best = _speeds(around.best, point.temp_c, usual)[0]
    slow = _speeds(low, point.temp_c, pair).min(axis=0)
    fast = _speeds(high, point.temp_c, pair).max(axis=0)
    hours = point.minutes / 60
    return Shifted(_reached(best, hours), _reached(slow, hours), _reached(fast, hours))


def late_clock(
    lift: PouredLift, around: Surroundings, point: TimePoint | None, planned_h: float | None
) -> Clock:
    """Return the clock of something that may be done only after a printed or planned time."""
    return _clock(lift, around, point, planned_h, late=True)


def early_clock(
    lift: PouredLift, around: Surroundings, point: TimePoint | None, planned_h: float | None
) -> Clock:
    """Return the clock of something that may be done only until a printed or planned time."""
    return _clock(lift, around, point, planned_h, late=False)


def _clock(
    lift: PouredLift, around: Surroundings, point: TimePoint | None, planned_h: float | None,
    *, late: bool,
) -> Clock:  # fmt: skip
    found = []
    factor = lift.margins.sheet_factor
    if point is not None:
        found.append((shifted(lift, around, point), "datasheet"))
    if planned_h and lift.planned is not None:
        when = TimePoint(60 * planned_h, lift.planned.at_c)
        found.append((shifted(lift, around, when), "planned"))
    if not found:
        return Clock(None, None, "unknown")
    if late:
        bound, basis = max(found, key=lambda f: f[0].late_h)
        go_h = bound.late_h * factor
    else:
        bound, basis = min(found, key=lambda f: f[0].early_h)
        go_h = bound.early_h / factor
    best_h = max(f.best_h for f, _ in found) if late else min(f.best_h for f, _ in found)
    ends = (bound.early_h / factor, go_h) if late else (go_h, bound.late_h * factor)
    return Clock(best_h, go_h, basis, range_h=ends)


def _speeds(temps_c: Array, reference_c: float, energies_j_mol: Sequence[float]) -> Array:
    inverse = 1 / (reference_c + KELVIN) - 1 / (temps_c + KELVIN)
    speeds: Array = np.exp(np.array(energies_j_mol)[:, None] / GAS_CONSTANT_J_MOLK * inverse)
    return speeds


def _no_warmer_than_body(lift: PouredLift, around: Surroundings) -> Array:
    """
    Return the coldest surroundings, warmth that a sensor in the body does not show left out.

    Where the body stays colder for hours than the air that was written down, the two sensors may
    be swapped: the casting's own heat then stands there as the air.
    """
    body = np.array([(r.hour, r.celsius) for r in lift.seen() if r.in_body]).reshape(-1, 2)
    if not len(body):
        return around.low
    read_h, first = np.unique(body[:, 0], return_index=True)
    read_c = np.minimum.reduceat(body[:, 1], first)
    after = np.searchsorted(read_h, around.hours)
    since = around.hours - read_h[np.maximum(after - 1, 0)]
    until = read_h[np.minimum(after, len(read_h) - 1)] - around.hours
    watched = (after > 0) & (after < len(read_h)) & (since + until <= HOLE_H)
    for stay in lift.stays:
        out_h = math.inf if stay.out_h is None else stay.out_h
        watched &= (around.hours < stay.in_h) | (around.hours >= out_h)
    most = np.interp(around.hours, read_h, read_c) + UNLIKE_K
    capped: Array = np.where(watched, np.minimum(around.low, most), around.low)
    return capped


def _soaked(lift: PouredLift, around_c: Array) -> Array:
    """Return the temperature of a body that follows its surroundings as slowly as it may."""
    share = 1 - math.exp(-3600 * STEP_H / soak_s(lift.system.thermal, lift.depth_mm, lift.top))
    start = around_c[0] if lift.mix_c is None else min(around_c[0], lift.mix_c)
    from scipy.signal import lfilter

    body: Array = lfilter([share], [1.0, share - 1.0], around_c, zi=[(1 - share) * start])[0]
    return body


def _reached(speed: Array, need_h: float) -> float:
    ages = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2 * STEP_H)])
    if ages[-1] < need_h:
        return float((len(ages) - 1) * STEP_H + (need_h - ages[-1]) / speed[-1])
    i = int(np.searchsorted(ages, need_h))
    if i == 0:
        return 0.0
    return float((i - 1 + (need_h - ages[i - 1]) / (ages[i] - ages[i - 1])) * STEP_H)
