"""The clocks of a lift by its model: likeliest, and on the side where nothing opens early."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from planning.core.casting.clock_types import PouredLift
from planning.core.casting.drawn import drawn_times, share_of
from planning.core.casting.kinetics import glass_transition_c
from planning.core.casting.lane_spans import all_times
from planning.core.casting.many_lifts import LaneFigures
from planning.core.casting.model_times import NAMES, Times
from planning.core.casting.posterior import (
    Posterior,
    figures_of,
    posterior,
    room_lanes,
    until_fall,
)
from planning.core.casting.pouring_over import Lanes, opens_h
from planning.core.casting.room_modes import Room, room_of
from planning.core.casting.surroundings import LONGEST_H, Surroundings

Array = NDArray[np.float64]

SURE, _SURER = 1.645, 2.33
"""95 % of a normal spread lie on one side of 1.645 spreads, 99 % of 2.33."""
_SURE_OWN = 1.75
"""On the late side of a system calibrated by the shop's own pours, 96 %: its clocks are asked to
open no more than 1 % of lifts early, and at 95 % one lift in eighty was."""
_FEW, _ANY = 8, -1
_STEP = 0.25
_OPENING = (("gelled", 1.0), ("cooled", 1.0))
"""The far points that delay the next lift: slow to gel, and slow to cool."""


@dataclass(frozen=True)
class ModelClocks:
    """
    Hours from pouring: likeliest, early side, late side; infinite where it never comes.

    For each of `NAMES`, and ``opens``: from when the next lift may be poured over.
    """

    best: dict[str, float]
    early: dict[str, float]
    late: dict[str, float]
    heat_seen: bool
    peak_c: float
    conversion: float
    tg_c: float | None


def model_clocks(lift: PouredLift, around: Surroundings, need: float) -> ModelClocks:
    """
    Return when things happen in a lift by its model and what was read.

    The late side is the later of two: the figures 95 % as far out as they may be in the direction
    that delays a clock most, and the 95 % point of draws from what is known. A hole in the room's
    record that no body sensor saw through counts as its coldest and as its warmest, the later of
    the two. Until a sensor in or on the casting has seen its heat, the later of with and without
    it counts.

    Parameters
    ----------
    lift : PouredLift
        A system with kinetics and heat properties.
    around : Surroundings
        Of this lift.
    need : float
        Conversion asked before demoulding.
    """
    room = room_of(lift, around)
    known_now = posterior(lift, room)
    z, count = known_now.z, len(known_now.z)
    lanes, times = _solve(lift, room, np.vstack([z, z + _STEP * np.eye(count)]), need)
    best = {name: float(times.named(name)[0]) for name in NAMES}
    drawn = drawn_times(known_now, need)
    early, late = share_of(drawn)
    early["bonds"] = float(drawn.bonds.min())
    ends, points = _far_points(known_now, times)
    careful, far, owners = _careful(known_now, points, need)
    for i, (name, side) in enumerate(ends):
        values = far.named(name)[(owners == i) | (owners == _ANY)]
        if side > 0:
            late[name] = max(late[name], float(values.max()))
        else:
            early[name] = min(early[name], float(values.min()))
    if known_now.hotter_read:
        # It was hot when it was read so, and the sensor may have come out: the window is short.
        early["bonds"] = min(early["bonds"], _earliest_bonds(until_fall(lift, room), need))
    hot = [i for i, j in enumerate(owners.tolist()) if j == _ANY or ends[j] in _OPENING]
    opens = opens_h(lift, careful, far.gelled[hot], hot)
    best["opens"] = float(opens_h(lift, lanes, times.gelled[:1], [0])[0])
    early["opens"], late["opens"] = float(opens.min()), float(opens.max())
    conversion = _conversion_now(lift, lanes)
    glass = lift.system.glass
    return ModelClocks(
        best=best,
        early={name: min(early[name], best[name]) for name in best},
        late={name: max(late[name], best[name]) for name in best},
        heat_seen=known_now.heat_seen,
        peak_c=float(times.peak_c[0]),
        conversion=conversion,
        tg_c=None if glass is None else glass_transition_c(glass, conversion),
    )


def stricter_of(plain: ModelClocks, held: ModelClocks, *, cooling: bool) -> ModelClocks:
    """
    Return the careful clocks of a lift whose mould may be as the shop or held at its own.

    What opens comes at the later of both, the end of bonding at the earlier. Without `cooling`
    a held mould stays too hot for demoulding, which is then told by the mould as the shop.
    """

    def of(name: str, side: str) -> float:
        both = getattr(plain, side)[name], getattr(held, side)[name]
        if name == "demould" and not cooling:
            return float(max(both[0], getattr(held, side)["cured"]))
        return float(min(both) if name == "bonds" or side == "early" else max(both))

    early, best, late = (
        {name: of(name, side) for name in plain.best} for side in ("early", "best", "late")
    )
    return replace(
        plain, best=best, early=early, late=late,
        heat_seen=plain.heat_seen and held.heat_seen, peak_c=max(plain.peak_c, held.peak_c),
        conversion=min(plain.conversion, held.conversion),
        tg_c=None if plain.tg_c is None or held.tg_c is None else min(plain.tg_c, held.tg_c),
    )  # fmt: skip


def _earliest_bonds(known_now: Posterior, need: float) -> float:
    lift, room, z = known_now.lift, known_now.room, known_now.z
    drawn = drawn_times(known_now, need, bonds_only=True)
    figures = np.vstack([z, z + _STEP * np.eye(len(z))])
    _, times = _solve(lift, room, figures, need)
    point = _point(known_now, times.bonds, -_SURER)
    _, far = _solve(lift, room, point[None], need)
    return min(float(drawn.bonds.min()), float(times.bonds.min()), float(far.bonds[0]))


def _far_points(known_now: Posterior, times: Times) -> tuple[list[tuple[str, float]], Array]:
    """Return the figures as far out as they may be, for each clock early and late."""
    count = len(known_now.z)
    ends = [(name, side) for name in NAMES for side in (1.0, -1.0)]
    points = [
        _point(
            known_now,
            times.named(name)[: 1 + count],
            side * _spreads(name, side, calibrated=known_now.lift.calibrated),
        )
        for name, side in ends
    ]
    if sum(len(probe.hours) for probe in known_now.probes) < _FEW:
        # So few readings may all be of a sensor that fell out: the window may not grow by them.
        ends.append(("bonds", -1.0))
        points.append(known_now.before + points[ends.index(("bonds", -1.0))] - known_now.z)
    return ends, np.array(points)


def _spreads(name: str, side: float, *, calibrated: bool) -> float:
    # A lift near running away bonds for far less long than small steps from the likeliest tell.
    if (name, side) == ("bonds", -1.0):
        return _SURER
    return _SURE_OWN if calibrated and side > 0 else SURE


def _conversion_now(lift: PouredLift, lanes: Lanes) -> float:
    solved = lanes.solved
    at = int(np.searchsorted(solved.hours, min(lift.now_h, solved.hours[-1])))
    return float(solved.conversions[at, 0].min())


def _solve(lift: PouredLift, room: Room, z: Array, need: float) -> tuple[Lanes, Times]:
    return all_times(lift, figures_of(lift, z), room.hours, room_lanes(room, z), need)


def _point(known_now: Posterior, values: Array, spreads: float) -> Array:
    """Return the figures so many spreads out in the direction that moves a clock most."""
    moved = np.where(np.isfinite(values[1:]), values[1:], LONGEST_H)
    slope = (moved - min(float(values[0]), LONGEST_H)) / _STEP
    if not np.isfinite(values[0]):
        # It never happens as it stands: a slower resin is on the late side of that.
        slope = -np.eye(len(slope))[0]
    pulled = known_now.covariance @ slope
    size = math.sqrt(max(float(slope @ pulled), 0.0))
    if size < 1e-9:
        return known_now.z
    point: Array = known_now.z + spreads * pulled / size
    return point


def _careful(
    known_now: Posterior, points: Array, need: float
) -> tuple[Lanes, Times, NDArray[np.int_]]:
    """
    Solve the far points, with holes cold and warm, and without own heat until it is seen.

    The third answer says of every lane which point it belongs to, or `_ANY`.
    """
    lift, room = known_now.lift, known_now.room
    figures, rooms = figures_of(lift, points), _holed(room, room_lanes(room, points))
    kinds = [(r, figures) for r in rooms]
    owners = np.tile(np.arange(len(points)), len(rooms))
    if not known_now.heat_seen:
        # Without own heat is far out already: the other figures stay the likeliest.
        cool = figures_of(lift, known_now.z[None])
        cool = replace(cool, heat=0.0 * cool.heat)
        kinds += [(r, cool) for r in _holed(room, room_lanes(room, known_now.z[None]))]
        owners = np.concatenate([owners, np.full(len(rooms), _ANY)])
    many = LaneFigures(*(
        np.concatenate([getattr(f, field.name) for _, f in kinds]) for field in fields(LaneFigures)
    ))  # fmt: skip
    lanes, times = all_times(
        lift, many, room.hours, np.concatenate([r for r, _ in kinds], axis=1), need
    )
    return lanes, times, owners


def _holed(room: Room, around: Array) -> list[Array]:
    """Return lanes of the room with its holes cold and with its holes warm, or as they are."""
    if not np.isfinite(room.colder).any():
        return [around]
    cold, warm = room.colder[:, None], room.warmer[:, None]
    return [np.minimum(around, cold), np.maximum(around, warm)]
