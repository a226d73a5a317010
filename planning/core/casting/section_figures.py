"""
How hot a casting gets that is not wide, when it is done, and how far one dimension is off.

An estimate for planning, not a safety device. One dimension is that of the lift solver: a casting
so wide that its sides do not matter. Where the sides lose heat the wide casting of a filled mix is
the hotter one, so peaks and depth limits are on the safe side; but edges stay near the shop's
temperature and cure last, so times until it is cured are not. A quick unfilled mix cures as
fronts, and where they meet a narrow casting gets the hotter.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from planning.core.casting import require
from planning.core.casting.arrhenius import KELVIN
from planning.core.casting.clock_types import Margins, PouredLift
from planning.core.casting.cure import demould_conversion
from planning.core.casting.faces import INSULATED, Face
from planning.core.casting.kinetics import RateLaw, isothermal_time_min
from planning.core.casting.lift_curve import known, top_of
from planning.core.casting.many_lifts import Solved
from planning.core.casting.model_times import times_of
from planning.core.casting.section import (
    BASE,
    CELLS,
    LONG,
    PATTERN,
    SIDE,
    TOP,
    Cells,
    Section,
    SectionHistory,
    cut,
    march_section,
)
from planning.core.casting.system import SystemData

Array = NDArray[np.float64]

LONGEST_H = 14 * 24.0
_FIRST_H, _READINGS = 24.0, 480
_WIDE_ROWS = 60
_LEAST_RISE_K = 0.5
"""A rise below which its share of another says nothing."""


@dataclass(frozen=True)
class Outcome:
    """One casting over time; hours from pouring, None where it does not happen in two weeks."""

    peak_c: float
    peak_h: float
    gelled_h: float | None
    """To the point that gels last."""
    cured_h: float | None
    """To the demould conversion at the point that cures last."""
    demould_h: float | None
    """Cured, every point below its own glass transition by the margin, faces hand-safe."""
    times_h: tuple[float, ...]
    hottest_c: tuple[float, ...]
    last_conversion: tuple[float, ...]
    """At the point that cures last."""


@dataclass(frozen=True)
class SectionFigures:
    """A casting with its sides, and the same without."""

    section: Outcome
    wide: Outcome
    """As deep, and so wide that its sides do not matter; no pattern in it."""
    rise_share: float | None
    """Rise over the shop, of the wide one's; None where that hardly warms."""
    time_share: float | None
    """Time until it may be demoulded, of the wide one's; None where one of them never may."""
    edge_cured_h: float | None
    """No edge cures later than at the shop's temperature (a mix poured warmer counts as that)."""
    cells: Cells
    map_c: Array
    """Shape (rows, columns): temperatures when it is hottest; nan where the pattern is."""

    @property
    def wide_is_hotter(self) -> bool:
        """Whether one dimension is on the safe side for heat."""
        return self.wide.peak_c >= self.section.peak_c

    @property
    def wide_is_later(self) -> bool:
        """Whether one dimension is on the safe side for demoulding."""
        mine, wide = self.section.demould_h, self.wide.demould_h
        return wide is None or (mine is not None and wide >= mine)


@lru_cache(maxsize=256)
def section_figures(
    system: SystemData, section: Section, shop_c: float, *, mix_c: float | None = None
) -> SectionFigures:
    """
    Compute a casting from its section, beside a wide one of the same depth.

    Parameters
    ----------
    system : SystemData
        With kinetics and heat properties.
    section : Section
        Shape, sizes and faces.
    shop_c : float
        Temperature of the shop, C; of each face that has none of its own.
    mix_c : float, optional
        Temperature of the mix when poured, C; the shop's when left out.

    Returns
    -------
    SectionFigures
        Peaks, times and their shares.

    Raises
    ------
    ValueError
        If the system has no kinetics or a figure is out of range.

    Notes
    -----
    Demoulding is judged by the same function as the clocks of a poured lift. Not in the model: the
    ends of a long casting, shrinkage, radiation and how the tool itself warms up.
    """
    require.temperature(shop_c=shop_c)
    if mix_c is not None:
        require.temperature(mix_c=mix_c)
    kinetics, _ = known(system)
    mine = _Solved(
        system, section, shop_c, mix_c, CELLS, CELLS, touched=(BASE, SIDE, TOP, PATTERN)
    )
    own = mine.outcome()
    slab = _wide(system, section.depth_mm, section.base, section.top, shop_c, mix_c)
    rise = slab.peak_c - shop_c
    need = demould_conversion(system)
    edge_h = math.inf
    if need is not None:
        coldest = min([shop_c, *([] if mix_c is None else [mix_c]), *_own_around(section)])
        edge_h = isothermal_time_min(kinetics, coldest, need) / 60
    return SectionFigures(
        section=own,
        wide=slab,
        rise_share=(own.peak_c - shop_c) / rise if rise >= _LEAST_RISE_K else None,
        time_share=own.demould_h / slab.demould_h if own.demould_h and slab.demould_h else None,
        edge_cured_h=edge_h if math.isfinite(edge_h) else None,
        cells=mine.cells,
        map_c=mine.at_peak(),
    )


def both(
    system: SystemData, section: Section, shop_c: float, mix_c: float | None = None
) -> tuple[Outcome, Outcome]:
    """Return a casting from its section, and a wide one of the same depth; nothing is kept."""
    solved = _Solved(
        system, section, shop_c, mix_c, CELLS, CELLS, touched=(BASE, SIDE, TOP, PATTERN)
    )
    return solved.outcome(), _wide(
        system, section.depth_mm, section.base, section.top, shop_c, mix_c
    )


@lru_cache(maxsize=64)
def _wide(
    system: SystemData, depth_mm: float, base: Face, top: Face, shop_c: float, mix_c: float | None
) -> Outcome:
    """Return a casting of a depth whose sides do not matter."""
    section = Section(LONG, 2 * depth_mm, depth_mm, base, INSULATED, top)
    return _Solved(system, section, shop_c, mix_c, 1, _WIDE_ROWS, touched=(BASE, TOP)).outcome()


def _own_around(section: Section) -> list[float]:
    faces = (section.base, section.side, section.top, section.pattern)
    return [face.around_c for face in faces if face.around_c is not None]


class _Solved:
    """One section marched until it may be demoulded, or will not be."""

    def __init__(
        self, system: SystemData, section: Section, shop_c: float, mix_c: float | None,
        columns: int, rows: int, touched: tuple[int, ...],
    ) -> None:  # fmt: skip
        self._system, self._touched = system, touched
        self._kinetics, self._thermal = known(system)
        self.cells = cut(section, self._thermal, columns, rows)
        faces = (section.base, section.side, section.top, section.pattern)
        self._around_c = np.array([shop_c if f.around_c is None else f.around_c for f in faces])
        self._lift = PouredLift(
            system, section.depth_mm, section.base, section.top, 0.0, shop_c, margins=Margins()
        )
        need = demould_conversion(system)
        # Without a conversion for demoulding only gel is waited for.
        self._need = system.gel_conversion if need is None else need
        self._judged = need is not None
        start_c = shop_c if mix_c is None else mix_c
        start = np.full(len(self.cells.capacities), start_c + KELVIN)
        first = np.full(len(start), self._kinetics.start_conversion)
        self._history = self._march(start, first, 0.0, _FIRST_H)
        while not (self._done() and self._past_peak()) and self._end_h < LONGEST_H:
            self._go_on()

    @property
    def _end_h(self) -> float:
        return float(self._history.times_s[-1]) / 3600

    def _march(self, temps: Array, cure: Array, from_h: float, to_h: float) -> SectionHistory:
        times = np.linspace(from_h * 3600, to_h * 3600, _READINGS + 1)
        law = RateLaw(self._kinetics, 1, len(temps))
        rise = self._thermal.adiabatic_rise_k
        return march_section(
            self.cells, law, rise, self._around_c + KELVIN, temps, cure, times
        )  # fmt: skip

    def _go_on(self) -> None:
        old, end = self._history, self._end_h
        new = self._march(old.temps_k[-1], old.conversions[-1], end, min(2 * end, LONGEST_H))
        self._history = SectionHistory(
            np.concatenate([old.times_s, new.times_s[1:]]),
            np.concatenate([old.temps_k, new.temps_k[1:]]),
            np.concatenate([old.conversions, new.conversions[1:]]),
            np.concatenate([old.steps_s, new.steps_s[1:]]),
            np.concatenate([old.hottest_k, new.hottest_k[1:]]),
        )

    def _solved(self) -> Solved:
        """Return the section as one lane, the hottest place of its faces first and last."""
        temps, cure = self._history.temps_k - KELVIN, self._history.conversions
        faces = [self.cells.face_c(n, temps, float(self._around_c[n])) for n in self._touched]
        hottest, least = np.max(faces, axis=0), cure.min(axis=1)
        return Solved(
            self._history.times_s / 3600,
            np.column_stack([hottest, temps, hottest])[:, None],
            np.column_stack([least, cure, least])[:, None],
            np.empty(0),
        )

    def _done(self) -> bool:
        return bool(np.isfinite(times_of(self._lift, self._solved(), self._need).demould[0]))

    def _past_peak(self) -> bool:
        hottest = self._history.temps_k.max(axis=1)
        return bool(hottest[-1] < hottest.max() or np.ptp(hottest) < _LEAST_RISE_K)

    def outcome(self) -> Outcome:
        solved = self._solved()
        times = times_of(self._lift, solved, self._need)
        hottest = solved.temps_c[:, 0].max(axis=1)
        peak_h, peak_k = top_of(self._history.steps_s / 3600, self._history.hottest_k)

        def when(values: Array) -> float | None:
            return float(values[0]) if self._judged and math.isfinite(values[0]) else None

        gelled = float(times.gelled[0])
        shown = slice(None, None, max(1, len(solved.hours) // 120))
        return Outcome(
            peak_c=peak_k - KELVIN,
            peak_h=peak_h,
            gelled_h=gelled if math.isfinite(gelled) else None,
            cured_h=when(times.cured),
            demould_h=when(times.demould),
            times_h=tuple(solved.hours[shown].tolist()),
            hottest_c=tuple(hottest[shown].tolist()),
            last_conversion=tuple(solved.conversions[shown, 0].min(axis=1).tolist()),
        )

    def at_peak(self) -> Array:
        """Return temperatures when it is hottest, shape (rows, columns)."""
        temps = self._history.temps_k - KELVIN
        row = temps[int(temps.max(axis=1).argmax())]
        number = self.cells.number
        return np.where(number >= 0, row[np.maximum(number, 0)], np.nan)
