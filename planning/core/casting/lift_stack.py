"""Lifts poured one on another, marched together with the heat they still hold."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from planning.core.casting import require
from planning.core.casting.arrhenius import KELVIN
from planning.core.casting.conduction import Grid, History, march, slab
from planning.core.casting.faces import Face
from planning.core.casting.kinetics import RateLaw, isothermal_time_min
from planning.core.casting.lift_curve import LiftCurve, floats, known, reaches, top_of
from planning.core.casting.system import SystemData, Thermal

Array = NDArray[np.float64]

LEAST_CELLS, MOST_CELLS = 60, 200
_FRONT_RISE_K, _FRONT_CELL_MM = 150.0, 1.0
"""A mix that could rise further than this cures as a travelling front, which needs fine cells."""

LONGEST_H = 14 * 24.0
_READINGS, _FRONT_READINGS = 240, 480
_ZOOMS, _ZOOMED, _SMOOTH_K = 3, 30, 0.5
"""A quick unfilled lift peaks between two readings: look closer there, up to so many times, in so
many parts, until readings beside the peak differ by less than this."""
_SHOWN = 120


class LiftStack:
    """Lifts poured one on another; the state between pourings."""

    def __init__(
        self, system: SystemData, shop_c: float, base: Face, top: Face, mix_c: float | None,
        cells: int,
    ) -> None:  # fmt: skip
        self._kinetics, self._thermal = known(system)
        require.temperature(shop_c=shop_c)
        if mix_c is not None:
            require.temperature(mix_c=mix_c)
        require.within(4, 2000, cells=cells)
        self._system, self._shop_c, self._base, self._top = system, shop_c, base, top
        self._mix_k = (shop_c if mix_c is None else mix_c) + KELVIN
        self._cells = cells
        # A front takes many small steps; a looser tolerance moves its peak by 0.02 % and saves
        # a third of the time.
        front = cures_as_front(self._thermal)
        self._rtol = 1e-5 if front else 1e-6
        self._readings = _FRONT_READINGS if front else _READINGS
        self._layers: list[tuple[float, int, Thermal]] = []
        self._rise = self._temps = self._conversions = np.empty(0)

    def pour(self, depth_mm: float) -> None:
        require.positive(depth_mm=depth_mm)
        require.within(0.0, 5_000.0, depth_mm=depth_mm)
        start = self._kinetics.start_conversion
        self._lay(depth_mm, self._cells, self._thermal.adiabatic_rise_k, self._mix_k, start)

    def add_cured(self, depth_mm: float) -> None:
        n = max(6, min(self._cells, math.ceil(depth_mm / 5)))
        self._lay(depth_mm, n, 0.0, self._shop_c + KELVIN, 1.0)

    def _lay(self, depth_mm: float, n: int, rise: float, temp_k: float, start: float) -> None:
        self._layers.append((depth_mm / 1000, n, self._thermal))
        self._rise = np.concatenate([self._rise, np.full(n, rise)])
        self._temps = np.concatenate([self._temps, np.full(n, temp_k)])
        self._conversions = np.concatenate([self._conversions, np.full(n, start)])

    def wait(self, hours: float) -> None:
        require.positive(gap_h=hours)
        history = self._march(np.array([0.0, hours * 3600]))
        self._temps, self._conversions = history.temps_k[-1], history.conversions[-1]

    def settle(self) -> LiftCurve:
        """March until the last lift has peaked and gelled, or `LONGEST_H` have passed."""
        history = self._march(np.linspace(0.0, self._first_span_s(), self._readings + 1))
        while not self._settled(history):
            end = history.times_s[-1]
            self._temps, self._conversions = history.temps_k[-1], history.conversions[-1]
            more = self._march(
                np.linspace(0.0, min(end, LONGEST_H * 3600 - end), self._readings + 1)
            )
            history = History(
                np.concatenate([history.times_s, end + more.times_s[1:]]),
                np.concatenate([history.temps_k, more.temps_k[1:]]),
                np.concatenate([history.conversions, more.conversions[1:]]),
            )
        return self._curve(history)

    def probe(self, height_mm: float, times_h: Sequence[float]) -> Array:
        clock = np.concatenate([[0.0], np.asarray(times_h, dtype=float) * 3600])
        started = clock[1] == 0
        history = self._march(clock[1:] if started else clock)
        temps_c = history.temps_k - KELVIN
        heights = self._grid().centres_m * 1000
        read = np.array([np.interp(height_mm, heights, row) for row in temps_c])
        return read if started else read[1:]

    def _first_span_s(self) -> float:
        # Heat only hastens the cure, so a lift gels no later than at the colder of the two.
        cold_c = min(*self._around_c(), self._mix_k - KELVIN)
        minutes = isothermal_time_min(self._kinetics, cold_c, self._system.gel_conversion)
        return 60 * min(max(1.1 * minutes, 30.0), LONGEST_H * 60 / 4)

    def _settled(self, history: History) -> bool:
        if history.times_s[-1] >= LONGEST_H * 3600 - 1:
            return True
        last = slice(-self._cells, None)
        hottest = history.temps_k[:, last].max(axis=1)
        still_rising = hottest[-1] - hottest[-self._readings // 2] > 0.005
        gelled = history.conversions[-1, last].min() >= self._system.gel_conversion
        return bool(gelled and not still_rising)

    def _march(self, times_s: Array) -> History:
        law = RateLaw(self._kinetics, 1, len(self._temps))
        base_c, top_c = self._around_c()
        return march(
            self._grid(), law, self._rise, top_c + KELVIN,
            self._temps, self._conversions, times_s, base_k=base_c + KELVIN, rtol=self._rtol,
        )  # fmt: skip

    def _around_c(self) -> tuple[float, float]:
        """Return the temperatures beyond base and top, C."""
        base_c, top_c = (
            self._shop_c if face.around_c is None else face.around_c
            for face in (self._base, self._top)
        )
        return base_c, top_c

    def _peak(self, history: History) -> tuple[float, float, int]:
        """Return hour, height and cell of the last lift's peak, C, looking closer where sharp."""
        start_s, near = 0.0, history
        for _ in range(_ZOOMS):
            hottest = near.temps_k[:, -self._cells :].max(axis=1)
            i = int(hottest.argmax())
            beside = hottest[max(i - 1, 0) : i + 2]
            if np.ptp(beside) < _SMOOTH_K:
                break
            first, last = max(i - 1, 0), min(i + 1, len(hottest) - 1)
            self._temps, self._conversions = near.temps_k[first], near.conversions[first]
            start_s += float(near.times_s[first])
            span = float(near.times_s[last] - near.times_s[first])
            near = self._march(np.linspace(0.0, span, _ZOOMED + 1))
        temps = near.temps_k[:, -self._cells :] - KELVIN
        hottest = temps.max(axis=1)
        peak_h, peak_c = top_of((start_s + near.times_s) / 3600, hottest)
        return peak_h, peak_c, int(temps[int(hottest.argmax())].argmax())

    def _grid(self) -> Grid:
        return slab(self._layers, self._base, self._top)

    def _curve(self, history: History) -> LiftCurve:
        n, gel = self._cells, self._system.gel_conversion
        temps, conversions = history.temps_k[:, -n:] - KELVIN, history.conversions[:, -n:]
        hours = history.times_s / 3600
        hottest = temps.max(axis=1)
        peak_h, peak_c, where = self._peak(history)
        depth_mm = 1000 * self._layers[-1][0]
        below = history.temps_k[:, :-n]
        shown = np.unique(np.linspace(0, len(hours) - 1, _SHOWN + 1).astype(int))
        core = n // 2
        return LiftCurve(
            depth_mm=depth_mm,
            shop_c=self._shop_c,
            times_h=floats(hours[shown]),
            hottest_c=floats(hottest[shown]),
            core_c=floats(temps[shown, core]),
            top_c=floats(temps[shown, -1]),
            core_conversion=floats(conversions[shown, core]),
            top_conversion=floats(conversions[shown, -1]),
            peak_c=peak_c,
            peak_h=peak_h,
            peak_height_mm=depth_mm * (where + 0.5) / n,
            gel_core_h=reaches(hours, conversions[:, core], gel),
            gel_top_h=reaches(hours, conversions[:, -1], gel),
            least_conversion=float(min(1.0, max(0.0, conversions[-1].min()))),
            reheated_below_c=float(below.max() - KELVIN) if below.size else None,
        )


def enough_cells(system: SystemData, depth_mm: float) -> int:
    """Return a number of cells that keeps the peak within 0.3 % of a far finer grid."""
    _, thermal = known(system)
    require.positive(depth_mm=depth_mm)
    if not cures_as_front(thermal):
        return LEAST_CELLS
    return min(MOST_CELLS, max(LEAST_CELLS, math.ceil(depth_mm / _FRONT_CELL_MM)))


def cures_as_front(thermal: Thermal) -> bool:
    """Say whether a mix is so energetic that it cures as a travelling front."""
    return thermal.adiabatic_rise_k >= _FRONT_RISE_K
