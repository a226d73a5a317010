"""How the room may have been, beyond its likeliest course: a few independent shapes in time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.core.casting.clock_types import AIR, OVEN, PouredLift
from planning.core.casting.surroundings import HOLE_H, Surroundings, usable_readings

Array = NDArray[np.float64]

_LENGTH_H = 8.0
"""Rooms keep their temperature for about so long. Assumed, no source."""
_READ_K, _OFFSET_K = 0.4, 0.6
"""Scatter of an hour's readings, and how far off a sensor of air may be all the time."""
_MOST_MODES, _LEAST_VARIANCE = 18, 0.97
_NARROWEST_K, _WIDEST_K = 2.0, 6.0
_OVEN_READ_K, _OVEN_SET_K = 1.0, 2.5
_STEP_H, _MOST_STEPS = 1.0, 40
_COMING_H, _STEP_COMING_H = 48.0, 3.0
_TROUBLE_K = 1.5


@dataclass(frozen=True)
class Room:
    """The room as ``middle + sum of z_j modes_j``, every z_j normal with mean 0 and spread 1."""

    hours: Array
    """Shape (m,)."""
    middle: Array
    """Shape (m,)."""
    modes: Array
    """Shape (j, m)."""
    colder: Array
    """Shape (m,): what a hole that no body sensor saw through counts as, C; else infinite."""
    warmer: Array
    """Shape (m,): the same for the warm side; else minus infinite."""

    def lanes(self, z: Array) -> Array:
        """Return the room of many lanes, shape (m, lanes), for `z` of shape (lanes, j)."""
        lanes: Array = self.middle[:, None] + (z @ self.modes).T
        return lanes


def room_of(lift: PouredLift, around: Surroundings) -> Room:
    """
    Return the room of a lift and the shapes in which it may differ.

    A Gaussian process about the expected temperature, as wide as the shop's nights are cold,
    conditioned on the readings of air; its strongest shapes are kept. In an oven its own course
    counts and one shape for how far off it is.
    """
    hours = around.hours
    knots = _knots(lift)
    read_h, read_c, read_k = _hourly(lift)
    spread = min(max((lift.expected_c - lift.coldest_c) / 2, _NARROWEST_K), _WIDEST_K)
    prior = spread**2 * _likeness(knots, knots)
    middle = np.full(len(knots), lift.expected_c)
    if len(read_h):
        cross = spread**2 * _likeness(knots, read_h)
        own = spread**2 * _likeness(read_h, read_h) + _OFFSET_K**2 + np.diag(read_k**2)
        gain = np.linalg.solve(own, cross.T).T
        middle = middle + gain @ (read_c - lift.expected_c)
        prior = prior - gain @ cross.T
    values, vectors = np.linalg.eigh(prior)
    values, vectors = np.maximum(values[::-1], 0.0), vectors[:, ::-1]
    kept = int(np.searchsorted(np.cumsum(values) / values.sum(), _LEAST_VARIANCE)) + 1
    kept = min(kept, _MOST_MODES)
    shapes = (vectors[:, :kept] * np.sqrt(values[:kept])).T
    modes = np.array([np.interp(hours, knots, shape) for shape in shapes])
    middle = np.interp(hours, knots, middle)
    return _with_ovens(lift, around, hours, middle, modes)


def _with_ovens(
    lift: PouredLift, around: Surroundings, hours: Array, middle: Array, modes: Array
) -> Room:
    inside = np.zeros(len(hours), dtype=bool)
    for stay in lift.stays:
        inside |= (hours >= stay.in_h) & (hours < (np.inf if stay.out_h is None else stay.out_h))
    if inside.any():
        middle, modes = np.where(inside, around.best, middle), np.where(inside, 0.0, modes)
        read = any(r.where == OVEN for r in lift.seen())
        modes = np.vstack([modes, inside * (_OVEN_READ_K if read else _OVEN_SET_K)])
    unseen = _unseen(lift, around, hours) & ~inside
    return Room(
        hours, middle, modes,
        np.where(unseen, around.low, np.inf), np.where(unseen, around.high, -np.inf),
    )  # fmt: skip


def _unseen(lift: PouredLift, around: Surroundings, hours: Array) -> Array:
    """Return where a hole in the room's record was not seen through by a sensor in the body."""
    body = np.array(sorted(r.hour for r in lift.seen() if r.in_body))
    unseen = np.zeros(len(hours), dtype=bool)
    for hole in around.holes:
        unseen |= (hours >= hole.from_h) & (hours <= hole.to_h)
    if not len(body):
        return unseen
    after = np.searchsorted(body, hours)
    near = np.minimum(
        np.abs(hours - body[np.maximum(after - 1, 0)]),
        np.abs(hours - body[np.minimum(after, len(body) - 1)]),
    )
    unseen &= near > HOLE_H / 2
    return unseen


def _knots(lift: PouredLift) -> Array:
    step = max(_STEP_H, lift.now_h / _MOST_STEPS)
    past = np.arange(0.0, lift.now_h + step, step)
    coming = np.arange(past[-1] + _STEP_COMING_H, past[-1] + _COMING_H, _STEP_COMING_H)
    return np.concatenate([past, coming])


def _hourly(lift: PouredLift) -> tuple[Array, Array, Array]:
    """Return air readings gathered by the hour: hours, temperatures and their scatter."""
    rows = usable_readings(lift, AIR)
    by_hour: dict[int, list[tuple[float, float]]] = {}
    for hour, temp in rows:
        by_hour.setdefault(int(np.floor(hour)), []).append((hour, temp))
    groups = [np.array(by_hour[h]) for h in sorted(by_hour)]
    hours = np.array([g[:, 0].mean() for g in groups])
    temps = np.array([np.median(g[:, 1]) for g in groups])
    # An hour whose readings scatter was a disturbed one.
    scatter = np.array([min(float(np.ptp(g[:, 1])), 6.0) for g in groups])
    return hours, temps, np.hypot(_READ_K, _TROUBLE_K * scatter / 6.0)


def _likeness(a: Array, b: Array) -> Array:
    distance = np.sqrt(3) * np.abs(a[:, None] - b[None, :]) / _LENGTH_H
    result: Array = (1 + distance) * np.exp(-distance)
    return result
