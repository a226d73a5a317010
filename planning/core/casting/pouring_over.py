"""When the next lift may go over one whose state is solved: the two must stay cool enough."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from planning.core.casting.clock_types import PouredLift
from planning.core.casting.kinetics import isothermal_time_min
from planning.core.casting.lift_curve import known
from planning.core.casting.many_lifts import LaneFigures, Solved, go_on

Array = NDArray[np.float64]

_TURNS = 6
_EVERY_H = 0.25
_LONGEST_SPAN_H = 36.0


@dataclass(frozen=True)
class Lanes:
    """Lanes of a lift from pouring on, with what they were solved with."""

    solved: Solved
    figures: LaneFigures
    room_hours: Array
    room_c: Array
    """Shape (room hours, lanes)."""

    def only(self, rows: Sequence[int]) -> Lanes:
        """Return some of the lanes."""
        solved, figures, kept = self.solved, self.figures, np.array(rows)
        return Lanes(
            Solved(solved.hours, solved.temps_c[:, kept], solved.conversions[:, kept],
                   solved.heights_mm),
            LaneFigures(*(getattr(figures, field.name)[kept] for field in fields(LaneFigures))),
            self.room_hours, self.room_c[:, kept],
        )  # fmt: skip


def opens_h(lift: PouredLift, lanes: Lanes, gelled: Array, rows: Sequence[int]) -> Array:
    """
    Return from when an equal lift of fresh mix, poured over this one, stays under the peak limit.

    Parameters
    ----------
    lift : PouredLift
        Depth, peak limit, and the temperature of its mix, which the next one is taken to have too.
    lanes : Lanes
        The lower lift.
    gelled : numpy.ndarray of float, shape (rows,)
        When each lane has gelled, hours; never open before.
    rows : sequence of int
        The lanes asked about.

    Returns
    -------
    numpy.ndarray of float, shape (rows,)
        Hours; infinite where it stays too hot for as long as was solved.
    """
    lanes, limit_c = lanes.only(rows), lift.system.peak_limit_c
    last = float(lanes.solved.hours[-1])
    low = np.where(np.isfinite(gelled), gelled, last)
    over = _peaks_if_poured(lift, lanes, low) - limit_c
    high = np.full(len(low), last)
    under = _peaks_if_poured(lift, lanes, high) - limit_c
    at_once, never = over <= 0, (under > 0) & (over > 0)
    high, under = np.where(at_once, low, high), np.where(at_once, over, under)
    for _ in range(0 if (at_once | never).all() else _TURNS):
        # Along the straight line between the ends, but never close to one of them.
        share = np.clip(over / np.where(over > under, over - under, 1.0), 0.1, 0.9)
        between = low + share * (high - low)
        found = _peaks_if_poured(lift, lanes, between) - limit_c
        hot = found > 0
        low, over = np.where(hot, between, low), np.where(hot, found, over)
        high, under = np.where(hot, high, between), np.where(hot, under, found)
    result: Array = np.where(never | ~np.isfinite(gelled), np.inf, high)
    return result


def _peaks_if_poured(lift: PouredLift, lower: Lanes, hours: Array) -> Array:
    """Return the hottest that either lift gets in each lane, poured over at `hours`."""
    kinetics, _ = known(lift.system)
    solved, figures = lower.solved, lower.figures
    lanes = np.arange(len(hours))
    i = np.clip(np.searchsorted(solved.hours, hours), 1, len(solved.hours) - 1)
    share = (hours - solved.hours[i - 1]) / (solved.hours[i] - solved.hours[i - 1])
    below = [
        (1 - share)[:, None] * values[i - 1, lanes, 1:-1] + share[:, None] * values[i, lanes, 1:-1]
        for values in (solved.temps_c, solved.conversions)
    ]
    fresh = np.ones_like(below[0])
    temps = np.concatenate([below[0], fresh * figures.mix_c[:, None]], axis=1)
    cure = np.concatenate([below[1], fresh * kinetics.start_conversion], axis=1)
    cold_c = min(lift.expected_c, float(figures.mix_c.min()))
    gel_h = isothermal_time_min(kinetics, cold_c, lift.system.gel_conversion) / 60
    span = np.arange(0.0, min(max(gel_h, 2.0), _LONGEST_SPAN_H) + _EVERY_H, _EVERY_H)
    around = np.stack(
        [
            np.interp(at + span, lower.room_hours, room)
            for at, room in zip(hours, lower.room_c.T, strict=True)
        ],
        axis=1,
    )
    # A lane without own heat stands for a lift that stayed cool; the next one may well get warm.
    warm = replace(figures, heat=np.where(figures.heat > 0, figures.heat, 1.0))
    out = go_on(lift.system, 2 * lift.depth_mm, warm, span, around, span, temps, cure)
    peaks: Array = out.temps_c.max(axis=(0, 2))
    return peaks
