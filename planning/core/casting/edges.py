"""
Edges and corners: the coldest places of a casting, which the clocks of a wide lift do not have.

The clocks are those of a lift so wide that its sides do not matter. Where its sides lose heat a
casting gels and cures last at an edge. How many times as long that takes is read off its section,
solved in two dimensions, and every careful time that waits for the coldest point is held back by
it. What is done only until a time, such as bonding, is moved nowhere: an edge bonds longer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from planning.core.casting.clock_types import CastingClocks, Clock, PouredLift
from planning.core.casting.cure import demould_conversion
from planning.core.casting.faces import Face, tool_side
from planning.core.casting.many_lifts import Solved, solve_lanes
from planning.core.casting.model_times import Times, times_of
from planning.core.casting.posterior import figures_of
from planning.core.casting.section import ROUND, Section, section_of
from planning.core.casting.section_figures import LONGEST_H, both
from planning.core.casting.surroundings import Surroundings, surroundings
from planning.core.casting.system import SystemData

SIDES = "board"
"""What the sides of a mould are taken to be of, where its base is not of metal. Common practice,
no source: nobody records it."""
_STEP_C = 2.0
_FIRST_H = 24.0
_NARROWEST_DEPTHS = 1.0
"""As wide as deep a casting has the largest factor of all that are computed, and so has one whose
width nobody told."""
_EVERY_H = 0.25
_FAR = np.array([[-1.645, -1.0, 0.0, 0.0, 0.0]])
"""How many spreads the rate and the heat of a slow resin lie low; the other figures are as told.
95 % of a normal spread lie on one side of 1.645 spreads."""


@dataclass(frozen=True)
class Shares:
    """How many times as long as a wide lift a casting takes until its last point is done."""

    gelled: float = 1.0
    cured: float = 1.0
    demould: float = 1.0

    def largest(self, other: Shares) -> Shares:
        """Return the larger of each of the two."""
        return Shares(*(max(a, b) for a, b in zip(_row(self), _row(other), strict=True)))


@dataclass(frozen=True)
class Mould:
    """What is known of a lift seen from above, and of the mould about it."""

    area_mm2: float
    """Mean area of the lift."""
    metal: bool = False
    """Whether it stands on metal; its sides are then taken to be of metal too."""
    length_mm: float | None = None
    width_mm: float | None = None

    @property
    def width_known(self) -> bool:
        """Whether its width is known; else the largest factor of all widths is taken."""
        return bool(self.length_mm and self.width_mm)


def side_of(mould: Mould) -> Face:
    """Return the face of its sides."""
    return tool_side("metal" if mould.metal else SIDES)


def section_in(mould: Mould, depth_mm: float, base: Face, top: Face) -> Section:
    """Return the section of a lift in its mould, which stands on `base` under `top`."""
    side = side_of(mould)
    if mould.width_known:
        return section_of(
            depth_mm, mould.area_mm2, base, side, top, mould.length_mm, mould.width_mm
        )
    return Section(ROUND, _NARROWEST_DEPTHS * depth_mm, depth_mm, base, side, top)


def edge_shares(
    system: SystemData, section: Section, shop_c: float, mix_c: float | None = None,
    *, rate: float = 1.0, heat: float = 1.0,
) -> Shares:  # fmt: skip
    """
    Return by how much the edges of a casting are later; never less than 1.

    Of the two temperatures in whole steps of 2 C about that of the shop the larger factor counts.

    Parameters
    ----------
    system : SystemData
        Without kinetics and heat properties nothing is computed, and every factor is 1.
    section : Section
        Shape, sizes and faces.
    shop_c, mix_c : float
        Temperature of the shop, and of the mix where it differs, C.
    rate, heat : float
        Factors on the rate and the heat of cure, for a resin unlike its figures.
    """
    found = Shares()
    if system.kinetics is None or system.thermal is None:
        return found
    if (rate, heat) != (1.0, 1.0):
        law, thermal = system.kinetics, system.thermal
        system = replace(
            system,
            kinetics=replace(law, a1_per_s=rate * law.a1_per_s, a2_per_s=rate * law.a2_per_s),
            thermal=replace(thermal, heat_j_kg=heat * thermal.heat_j_kg),
            # The conversion asked is that of the system as it is known.
            demould_conversion=demould_conversion(system),
        )
    warm = mix_c is not None and abs(mix_c - shop_c) >= _STEP_C
    mix = _STEP_C * round(mix_c / _STEP_C) if mix_c is not None and warm else None
    for step in {math.floor(shop_c / _STEP_C), math.ceil(shop_c / _STEP_C)}:
        found = found.largest(_shares(system, section, _STEP_C * step, mix))
    return found


@lru_cache(maxsize=4096)
def _shares(system: SystemData, section: Section, shop_c: float, mix_c: float | None) -> Shares:
    mine, wide = both(system, section, shop_c, mix_c)
    return Shares(
        _share(mine.gelled_h, wide.gelled_h),
        _share(mine.cured_h, wide.cured_h),
        _share(mine.demould_h, wide.demould_h),
    )


def _share(mine_h: float | None, wide_h: float | None) -> float:
    if not wide_h:
        return 1.0
    return max(1.0, (LONGEST_H if mine_h is None else mine_h) / wide_h)


def _row(shares: Shares) -> tuple[float, float, float]:
    return shares.gelled, shares.cured, shares.demould


def with_edges(
    lift: PouredLift, clocks: CastingClocks, mould: Mould
) -> tuple[CastingClocks, Shares | None]:
    """
    Return the clocks of a lift with its edges counted, and the factors; None without kinetics.

    A time on the careful side is held back to what the edges of a slow resin take in the coldest
    surroundings that may have been, and to the factor times that of the wide lift, once a sensor
    in the body has seen its heat: that shows that the middle is warm, and brings the edges forward
    by nothing. Until then the clock counts the casting as cold all through, edges and middle
    alike. Best estimates are held back by the factor of what is likeliest.

    Without kinetics the times are the data sheet's, which are taken to hold for the whole casting,
    edges included (common practice, no source).
    """
    need = demould_conversion(lift.system)
    if not lift.system.computable or need is None or clocks.computed is None:
        return clocks, None
    wide, around = clocks.computed, surroundings(lift)
    first = around.hours <= _FIRST_H
    likely_c, cold_c = (float(temps[first].mean()) for temps in (around.best, around.low))
    # What it stands on is taken as its clock takes it, which counts on no insulation.
    base = lift.base if lift.base_known else tool_side(SIDES)
    section = section_in(mould, lift.depth_mm, base, lift.top)
    shares = edge_shares(lift.system, section, likely_c, lift.mix_c)
    times, rate, heat = _slow(lift, around, need)
    slow = edge_shares(lift.system, section, cold_c, lift.mix_c, rate=rate, heat=heat)

    def late(clock: Clock, name: str) -> Clock:
        if clock.go_h is None and not clock.stalled:
            return clock  # it waits for something else than the cure
        _, best_h, late_h = wide[name]
        held_h = getattr(slow, name) * float(times.named(name)[0])
        if clocks.own_heat_counts:
            held_h = max(held_h, getattr(shares, name) * late_h)
        return _held(clock, getattr(shares, name) * best_h, held_h)

    cured, demould = late(clocks.cured, "cured"), late(clocks.demould, "demould")
    if demould.go_h is not None:
        demould = _held(
            demould, cured.best_h or 0.0, math.inf if cured.go_h is None else cured.go_h
        )
    opens = late(clocks.opens, "gelled")
    return replace(clocks, opens=opens, cured=cured, demould=demould), shares


def _held(clock: Clock, best_h: float, go_h: float) -> Clock:
    """Return a clock that is not before these times; infinite where it never comes."""
    early, late = clock.range_h
    held = clock.go_h is not None and go_h > clock.go_h
    go = None if clock.go_h is None or math.isinf(go_h) else max(clock.go_h, go_h)
    best = None if clock.best_h is None or math.isinf(best_h) else max(clock.best_h, best_h)
    return Clock(
        best, go, "model" if held else clock.basis, stalled=go is None,
        range_h=(early, go if late is None or go is None else max(late, go)),
    )  # fmt: skip


def _slow(lift: PouredLift, around: Surroundings, need: float) -> tuple[Times, float, float]:
    """
    Return the times of a wide lift that is as slow and as cold as it may be.

    With them the factors on its rate and its heat.
    """
    figures = figures_of(lift, _FAR)

    def solve(start_h: float, end_h: float, start: Solved | None) -> Solved:
        hours = np.linspace(start_h, end_h, max(2, round((end_h - start_h) / _EVERY_H) + 1))
        return solve_lanes(
            lift.system, lift.depth_mm, figures, around.hours, around.low[:, None], hours, start
        )

    end = _FIRST_H
    solved = solve(0.0, end, None)
    while True:
        times = times_of(lift, solved, need)
        if np.isfinite(times.demould[0]) or end >= LONGEST_H:
            return times, round(float(figures.rate[0]), 3), round(float(figures.heat[0]), 3)
        solved = solve(end, min(2 * end, LONGEST_H), solved).after(solved)
        end = min(2 * end, LONGEST_H)
