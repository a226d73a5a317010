"""What surrounded a casting, hour by hour: as likely, as cold and as warm as it may have been."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from planning.core.casting.clock_types import AIR, OVEN, Hole, OvenStay, PouredLift, Reading

Array = NDArray[np.float64]

STEP_H = 0.25
LONGEST_H = 14 * 24.0

HOLE_H = 4.5
"""Readings further apart leave a hole. Four-hourly readings, as a shop takes them, do not."""
_DRIFT_K_H, _HOLE_DRIFT_K_H = 1.5, 4.0
"""How fast a room may have drifted from a reading and back, between readings and in a hole.
Assumed, no source: a heated hall falls by 1 to 2 K in an hour when the heating stops."""
_RELAX_H = 6.0
"""In which a room goes back to what was expected, best estimate. Assumed, no source."""

HOTTEST_ROOM_C, COLDEST_ROOM_C = 50.0, -30.0
_JUMP_K = 6.0
"""A single reading so far from the middle of its neighbours counts only as far as this."""
_NEAR_H = 3.0
_OVEN_UNSURE_K = 5.0
"""An oven nobody reads may be so far from its setting. Assumed, no source."""


@dataclass(frozen=True)
class Surroundings:
    """Temperatures around a casting at every `hours`, C, each of shape (n,)."""

    hours: Array
    best: Array
    low: Array
    high: Array
    holes: tuple[Hole, ...]
    in_oven: bool
    """At the moment asked about."""


def grid_h() -> Array:
    """Return the hours at which surroundings are told."""
    return np.arange(0.0, LONGEST_H + STEP_H / 2, STEP_H)


def implausible(lift: PouredLift) -> tuple[Reading, ...]:
    """Return the readings of rooms and ovens that cannot be of one."""
    return tuple(r for r in lift.seen() if not r.in_body and not _can_be(r, lift.stays))


def usable_readings(lift: PouredLift, where: str) -> list[tuple[float, float]]:
    """Return hours and temperatures read at one place, jumps trimmed, what cannot be left out."""
    return _gathered([r for r in lift.seen() if r.where == where and _can_be(r, lift.stays)])


def surroundings(lift: PouredLift) -> Surroundings:
    """
    Return what surrounded a lift, and what will as far as is expected.

    Up to now the room is taken from its readings. Between two of them, and from the last one to
    now, `low` and `high` drift away as far as a room may have done unseen, at most to the coldest
    and the warmest that the shop states. After now the expected room counts, or the last reading
    where that is on the careful side. In an oven its own readings count, or its setting.

    Parameters
    ----------
    lift : PouredLift
        Readings of air and oven, stays in ovens, expected room and night minimum.

    Returns
    -------
    Surroundings
        Every `STEP_H` hours from pouring to `LONGEST_H`.
    """
    hours = grid_h()
    air = usable_readings(lift, AIR)
    best = _likely(hours, air, lift.expected_c)
    low = _drifted(hours, air, lift, colder=True)
    high = _drifted(hours, air, lift, colder=False)
    low, high = np.minimum(low, best), np.maximum(high, best)
    holes = list(_holes(air, lift, low, hours))
    for stay in lift.stays:
        inside = (hours >= stay.in_h) & (hours < (np.inf if stay.out_h is None else stay.out_h))
        own = _gathered([
            r for r in lift.seen() if r.where == OVEN and _during(r, stay) and _can_be(r, (stay,))
        ])  # fmt: skip
        unsure = 0.0 if own else _OVEN_UNSURE_K
        level = np.interp(hours, *_columns(own)) if own else np.full(len(hours), stay.set_c)
        best = np.where(inside, level, best)
        low = np.where(inside, np.minimum(level, stay.set_c) - unsure, low)
        high = np.where(inside, np.maximum(level, stay.set_c) + unsure, high)
        holes = [part for hole in holes for part in _without(hole, stay)]
    in_oven = any(s.in_h <= lift.now_h and (s.out_h is None or s.out_h > lift.now_h)
                  for s in lift.stays)  # fmt: skip
    return Surroundings(hours, best, low, high, tuple(holes), in_oven)


def _can_be(reading: Reading, stays: Sequence[OvenStay]) -> bool:
    if reading.where == AIR:
        return COLDEST_ROOM_C <= reading.celsius < HOTTEST_ROOM_C
    return any(
        _during(reading, s) and reading.celsius <= s.set_c + 3 * _OVEN_UNSURE_K for s in stays
    )


def _during(reading: Reading, stay: OvenStay) -> bool:
    return stay.in_h <= reading.hour and (stay.out_h is None or reading.hour <= stay.out_h)


def _gathered(readings: Sequence[Reading]) -> list[tuple[float, float]]:
    """Return hours and temperatures; readings of the same moment are averaged, jumps trimmed."""
    by_hour: dict[float, list[float]] = {}
    for reading in readings:
        by_hour.setdefault(reading.hour, []).append(reading.celsius)
    hours = np.array(sorted(by_hour))
    temps = np.array([np.mean(by_hour[h]) for h in hours.tolist()])
    firsts = np.searchsorted(hours, hours - _NEAR_H, side="left")
    lasts = np.searchsorted(hours, hours + _NEAR_H, side="right")
    trimmed = []
    for i, temp in enumerate(temps):
        near = temps[firsts[i] : lasts[i]]
        if len(near) >= 3:
            middle = float(np.median(near))
            temp = min(max(float(temp), middle - _JUMP_K), middle + _JUMP_K)
        trimmed.append((float(hours[i]), float(temp)))
    return trimmed


def _columns(rows: Sequence[tuple[float, float]]) -> tuple[list[float], list[float]]:
    return [h for h, _ in rows], [t for _, t in rows]


def _likely(hours: Array, air: Sequence[tuple[float, float]], expected_c: float) -> Array:
    """Straight between near readings; away from them the room goes back to the expected."""
    if not air:
        return np.full(len(hours), expected_c)
    read_h, read_c = (np.array(column) for column in _columns(air))
    after = np.searchsorted(read_h, hours, side="right")
    first, last = np.maximum(after - 1, 0), np.minimum(after, len(read_h) - 1)
    since = np.where(after > 0, hours - read_h[first], np.inf)
    until = np.where(after < len(read_h), read_h[last] - hours, np.inf)
    gone = expected_c + (read_c[first] - expected_c) * np.exp(-since / _RELAX_H)
    coming = expected_c + (read_c[last] - expected_c) * np.exp(-until / _RELAX_H)
    share = np.where(np.isinf(until), 0.0, np.where(np.isinf(since), 1.0, 0.0))
    both = np.isfinite(since) & np.isfinite(until)
    share[both] = since[both] / np.maximum(since[both] + until[both], 1e-9)
    relaxed = (1 - share) * gone + share * coming
    straight = np.interp(hours, read_h, read_c)
    near = both & (since + until <= HOLE_H)
    result: Array = np.where(near, straight, relaxed)
    return result


def _drifted(
    hours: Array, air: Sequence[tuple[float, float]], lift: PouredLift, *, colder: bool
) -> Array:
    """Return how cold (or warm) the room may have been, and what is counted on after now."""
    sign = 1.0 if colder else -1.0
    extreme = sign * (lift.coldest_c if colder else lift.warmest_c)
    room = sign * np.full(len(hours), lift.expected_c)
    after = hours >= lift.now_h
    if not air:
        return sign * np.where(after, room, np.minimum(room, extreme))
    # A room warmer than it ever should be is not counted on: the reading may be of a sunbeam.
    most = sign * (lift.warmest_c if colder else lift.coldest_c) + _JUMP_K
    read_h = np.array([h for h, _ in air])
    read_c = np.minimum(sign * np.array([c for _, c in air]), most)
    ahead = np.searchsorted(read_h, hours, side="right")
    before, behind = np.maximum(ahead - 1, 0), np.minimum(ahead, len(read_h) - 1)
    since = np.where(ahead > 0, hours - read_h[before], np.inf)
    until = np.where(ahead < len(read_h), read_h[behind] - hours, np.inf)
    # Past the last reading the hole is as long as nobody has looked.
    gap = np.where(np.isinf(until), lift.now_h - read_h[-1], np.minimum(since, hours) + until)
    drift = np.where(gap > HOLE_H, _HOLE_DRIFT_K_H, _DRIFT_K_H)
    fallen = np.maximum(read_c[before] - drift * since, read_c[behind] - drift * until)
    floor = np.minimum(extreme, np.interp(hours, read_h, read_c))
    past = np.maximum(fallen, floor)
    coming = min(sign * lift.expected_c, float(read_c[-1]))
    return sign * np.where(after & (hours > read_h[-1]), coming, past)


def _holes(
    air: Sequence[tuple[float, float]], lift: PouredLift, low: Array, hours: Array
) -> Sequence[Hole]:
    edges = [0.0, *(h for h, _ in air if 0 <= h <= lift.now_h), lift.now_h]
    if air and air[0][0] < 0:
        edges[0] = max(h for h, _ in air if h < 0)
    found = []
    for start, end in pairwise(edges):
        if end - start > HOLE_H:
            within = (hours >= max(start, 0.0)) & (hours <= end)
            coldest = float(low[within].min()) if within.any() else lift.coldest_c
            found.append(Hole(max(start, 0.0), end, coldest))
    return found


def _without(hole: Hole, stay: OvenStay) -> list[Hole]:
    """Return what is left of a hole in the room's record when the casting was in an oven."""
    out_h = np.inf if stay.out_h is None else stay.out_h
    parts = [(hole.from_h, min(hole.to_h, stay.in_h)), (max(hole.from_h, out_h), hole.to_h)]
    return [Hole(a, b, hole.counted_c) for a, b in parts if b - a > HOLE_H]
