"""Lanes of a poured lift solved as far as is needed: until all has happened, or will not."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planning.core.casting.clock_types import HOT_SPARE_K, PouredLift
from planning.core.casting.kinetics import isothermal_time_min
from planning.core.casting.lift_curve import known
from planning.core.casting.many_lifts import LaneFigures, Solved, solve_lanes
from planning.core.casting.model_times import Times, times_of
from planning.core.casting.pouring_over import Lanes
from planning.core.casting.surroundings import LONGEST_H

Array = NDArray[np.float64]

_EVERY_H = 0.25
_SHORTEST_H, _DAY_H = 12.0, 24.0
_GROWS = 1.5
_STILL = 0.002
"""A lane that gains less conversion in a day has stalled."""


def first_lanes(
    lift: PouredLift, figures: LaneFigures, room_hours: Array, room_c: Array, need: float,
    *, coarse: bool = False,
) -> Lanes:  # fmt: skip
    """Return lanes from pouring on, about as long as they take at the temperature expected."""
    solved = solve_lanes(
        lift.system, lift.depth_mm, figures, room_hours, room_c,
        _hours(0.0, _first_span_h(lift, need)), coarse=coarse,
    )  # fmt: skip
    return Lanes(solved, figures, room_hours, room_c)


def longer(lift: PouredLift, lanes: Lanes, *, coarse: bool = False) -> Lanes:
    """Return the same lanes solved on by half as long again."""
    before = lanes.solved
    start = float(before.hours[-1])
    more = solve_lanes(
        lift.system, lift.depth_mm, lanes.figures, lanes.room_hours, lanes.room_c,
        _hours(start, min(_GROWS * start, LONGEST_H)), before, coarse=coarse,
    )  # fmt: skip
    return Lanes(more.after(before), lanes.figures, lanes.room_hours, lanes.room_c)


def ended(lanes: Lanes) -> bool:
    """Say whether lanes are solved as far as surroundings are told."""
    return float(lanes.solved.hours[-1]) >= LONGEST_H


def all_times(
    lift: PouredLift, figures: LaneFigures, room_hours: Array, room_c: Array, need: float
) -> tuple[Lanes, Times]:
    """Solve on until everything has happened in every lane, or will not."""
    lanes = first_lanes(lift, figures, room_hours, room_c, need)
    while True:
        times = times_of(lift, lanes.solved, need)
        wait = waiting(lift, lanes.solved, times, need) | _bonding(lift, lanes.solved, times)
        if ended(lanes) or not wait.any():
            return lanes, times
        lanes = longer(lift, lanes)


def waiting(lift: PouredLift, solved: Solved, times: Times, need: float) -> NDArray[np.bool_]:
    """Say of which lanes something is still to come."""
    found: NDArray[np.bool_] = unfinished(lift, times) & ~_stands_still(solved, need)
    return found


def unfinished(lift: PouredLift, times: Times) -> NDArray[np.bool_]:
    """Say of which lanes something has not happened as far as they are solved."""
    held_c = lift.base.around_c
    held_hot = held_c is not None and held_c + HOT_SPARE_K >= lift.margins.hand_safe_c
    stays_hot = held_hot or too_hot_oven(lift)
    last = times.cured if stays_hot else np.maximum(times.demould, times.cooled)
    found: NDArray[np.bool_] = ~np.isfinite(last)
    return found


def too_hot_oven(lift: PouredLift) -> bool:
    """Say whether a lift sits in an oven in which its faces never get cool enough to handle."""
    return any(
        stay.in_h <= lift.now_h and stay.out_h is None
        and stay.set_c + HOT_SPARE_K >= lift.margins.hand_safe_c
        for stay in lift.stays
    )  # fmt: skip


def _stands_still(solved: Solved, need: float) -> NDArray[np.bool_]:
    """Say which lanes have not cured and hardly do so any more, by their last day."""
    least = solved.conversions.min(axis=2)
    before = int(np.searchsorted(solved.hours, solved.hours[-1] - _DAY_H))
    if solved.hours[-1] < 2 * _DAY_H:
        return np.zeros(least.shape[1], dtype=bool)
    still: NDArray[np.bool_] = (least[-1] < need) & (least[-1] - least[before] < _STILL)
    return still


def _bonding(lift: PouredLift, solved: Solved, times: Times) -> NDArray[np.bool_]:
    """Say of which lanes the top still bonds, and cures on."""
    if lift.system.bond_conversion is None:
        return np.zeros(len(times.bonds), dtype=bool)
    top = solved.conversions[..., -1]
    before = int(np.searchsorted(solved.hours, solved.hours[-1] - _DAY_H))
    found: NDArray[np.bool_] = ~np.isfinite(times.bonds) & (top[-1] - top[before] >= _STILL)
    return found


def _hours(start_h: float, end_h: float) -> Array:
    return np.linspace(start_h, end_h, max(2, round((end_h - start_h) / _EVERY_H) + 1))


def _first_span_h(lift: PouredLift, need: float) -> float:
    kinetics, _ = known(lift.system)
    cold_c = min(lift.expected_c, lift.expected_c if lift.mix_c is None else lift.mix_c) - 2
    hours = 1.3 * isothermal_time_min(kinetics, cold_c, need) / 60
    return min(max(hours, lift.now_h + 4.0, _SHORTEST_H), LONGEST_H / 4)
