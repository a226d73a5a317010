"""When things happen in a solved lift: peak, gel, cool, bonding over, cured, fit to demould."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from planning.core.casting.clock_types import PouredLift
from planning.core.casting.lift_curve import top_of
from planning.core.casting.many_lifts import Solved

Array = NDArray[np.float64]

_STEEP = 1000.0
"""Conversions times this stand beside kelvins, so that the crossing is read off the right one."""

NAMES = ("peak", "gelled", "cooled", "bonds", "cured", "demould")


@dataclass(frozen=True)
class Times:
    """Hours from pouring in every lane, infinite where it does not happen; shape (lanes,)."""

    peak: Array
    gelled: Array
    """To the point that cures last."""
    cooled: Array
    """Gelled, and the hottest point back within a third of its rise."""
    bonds: Array
    """The top face reaches the conversion past which nothing bonds; infinite where not stated."""
    cured: Array
    demould: Array
    peak_c: Array

    def named(self, name: str) -> Array:
        """Return one of `NAMES`."""
        values: Array = getattr(self, name)
        return values

    def changed(self, lanes: NDArray[np.int_], times: Times) -> Times:
        """Return the same with the times of some lanes put in their place."""
        columns = []
        for field in fields(Times):
            column = getattr(self, field.name).copy()
            column[lanes] = getattr(times, field.name)
            columns.append(column)
        return Times(*columns)


def times_of(lift: PouredLift, solved: Solved, need: float) -> Times:
    """
    Return when things happen in every lane.

    Parameters
    ----------
    lift : PouredLift
        Margins, glass transition, marks of the system.
    solved : Solved
        Lanes from pouring on.
    need : float
        Conversion asked before demoulding, at the point that has least.
    """
    system, margins = lift.system, lift.margins
    temps, conversions = solved.temps_c, solved.conversions
    hottest, least = temps.max(axis=2), conversions.min(axis=2)
    gelled = first_time(solved.hours, least - system.gel_conversion)
    cured = first_time(solved.hours, least - need)
    peak_h, peak_c = _peaks(solved.hours, hottest, gelled, cured)
    level = peak_c - (peak_c - hottest[-1]) * 2 / 3
    past = np.where(solved.hours[:, None] >= peak_h, level - hottest, -np.inf)
    cooled = np.maximum(gelled, first_time(solved.hours, past))
    bond = system.bond_conversion
    never = np.full(len(peak_h), np.inf)
    bonds = never if bond is None else first_time(solved.hours, conversions[..., -1] - bond)
    spare = [_STEEP * (least - need)]
    spare.append(margins.hand_safe_c - np.maximum(temps[..., 0], temps[..., -1]))
    if system.glass is not None:
        glass = system.glass
        share = glass.lam * conversions / (1 - (1 - glass.lam) * conversions)
        tg = glass.uncured_c + (glass.cured_c - glass.uncured_c) * share
        spare.append((tg - margins.glass_margin_k - temps).min(axis=2))
    return Times(
        peak=peak_h,
        gelled=gelled,
        cooled=cooled,
        bonds=bonds,
        cured=cured,
        demould=first_time(solved.hours, np.min(spare, axis=0)),
        peak_c=peak_c,
    )


def _peaks(hours: Array, hottest: Array, gelled: Array, cured: Array) -> tuple[Array, Array]:
    """Return hour and height of each lane's hottest of its own making."""
    found = []
    for lane, curve in enumerate(hottest.T):
        # A mix poured warm cools first, and a warm afternoon later is not the casting's own.
        gel = int(np.searchsorted(hours, min(gelled[lane], hours[-1])))
        first = int(curve[: gel + 1].argmin())
        last = max(int(np.searchsorted(hours, min(cured[lane], hours[-1]))) + 1, first + 2)
        found.append(top_of(hours[first:last], curve[first:last]))
    peak_h, peak_c = (np.array(column) for column in zip(*found, strict=True))
    return peak_h, peak_c


def first_time(hours: Array, spare: Array) -> Array:
    """Return when each column of `spare`, shape (times, lanes), first is 0 or more; else inf."""
    reached = spare >= 0
    any_time = reached.any(axis=0)
    i = reached.argmax(axis=0)
    before = np.maximum(i - 1, 0)
    lanes = np.arange(spare.shape[1])
    low, high = spare[before, lanes], spare[i, lanes]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where((i > 0) & np.isfinite(low), -low / (high - low), 1.0)
    when = hours[before] + np.clip(share, 0.0, 1.0) * (hours[i] - hours[before])
    result: Array = np.where(any_time, np.where(i == 0, hours[0], when), np.inf)
    return result
