"""
Temperature of a lift: one-dimensional conduction with cure, and the deepest lift that is safe.

An estimate for planning, not a safety device. Not in the model: edges, shrinkage, radiation,
moisture, mixing heat. One dimension is high for narrow pours, but it is not on the safe side over
thick foam or in a corner that traps heat.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from planning.core import require
from planning.core.arrhenius import KELVIN
from planning.core.conduction import Grid, History, march, slab
from planning.core.faces import Face
from planning.core.kinetics import RateLaw, isothermal_time_min
from planning.core.system import Kinetics, SystemData, Thermal

Array = NDArray[np.float64]

LIFT_CELLS = 60
LONGEST_H = 14 * 24.0
DEEPEST_MM = 400.0
_READINGS = 480
_SHOWN = 120


@dataclass(frozen=True)
class LiftCurve:
    """One lift over time. Curves have the same length; times count from pouring this lift."""

    depth_mm: float
    shop_c: float
    times_h: tuple[float, ...]
    hottest_c: tuple[float, ...]
    core_c: tuple[float, ...]
    top_c: tuple[float, ...]
    core_conversion: tuple[float, ...]
    top_conversion: tuple[float, ...]
    peak_c: float
    peak_h: float
    peak_height_mm: float
    """Height of the hottest point above the base of this lift."""
    gel_core_h: float | None
    gel_top_h: float | None
    """None: the cure stalls before gel at this temperature, or takes longer than was computed."""
    least_conversion: float
    """At the end of the curve, in the cell that cured least."""
    reheated_below_c: float | None = None
    """Hottest that the lifts below get after this one is poured; None where there are none."""

    @property
    def rise_k(self) -> float:
        """Peak over the shop's temperature, K."""
        return self.peak_c - self.shop_c


@lru_cache(maxsize=512)
def solve_lift(
    system: SystemData,
    depth_mm: float,
    shop_c: float,
    base: Face,
    top: Face,
    *,
    mix_c: float | None = None,
    cured_below_mm: float = 0.0,
    cells: int = LIFT_CELLS,
) -> LiftCurve:
    """
    Compute one lift from pouring until it has peaked and gelled.

    Parameters
    ----------
    system : SystemData
        With kinetics and heat properties.
    depth_mm : float
        Depth of the lift, mm.
    shop_c : float
        Temperature of the shop, C.
    base, top : Face
        How the lift loses heat below and above.
    mix_c : float, optional
        Temperature of the mix when poured, C; the shop's when left out.
    cured_below_mm : float
        Depth of cured casting of the same system between the lift and `base`, mm.
    cells : int
        Cells over the lift. 20 are within 0.02 C of 160 on the demo lift.

    Returns
    -------
    LiftCurve
        Peak, gel times and curves.

    Raises
    ------
    ValueError
        If the system has no kinetics or a figure is out of range.

    See Also
    --------
    solve_lifts : With earlier lifts below that are still warm and curing.

    References
    ----------
    .. [1] Rows P128-P143 of the reference cases: a separate explicit code with face nodes agrees
       within 0.3 %. Basis: computed here on an invented system, never against a casting.
    """
    if cured_below_mm:
        require.positive(cured_below_mm=cured_below_mm)
    stack = _Stack(system, shop_c, base, top, mix_c, cells)
    if cured_below_mm:
        stack.add_cured(cured_below_mm)
    stack.pour(depth_mm)
    return stack.settle()


@lru_cache(maxsize=512)
def solve_lifts(
    system: SystemData,
    depths_mm: tuple[float, ...],
    gaps_h: tuple[float, ...],
    shop_c: float,
    base: Face,
    top: Face,
    *,
    mix_c: float | None = None,
    cells: int = 28,
) -> LiftCurve:
    """
    Compute the last of several lifts, the earlier ones below it with the heat they still hold.

    Parameters
    ----------
    system : SystemData
        With kinetics and heat properties.
    depths_mm : tuple of float, shape (n,)
        Depths from the bottom up, mm.
    gaps_h : tuple of float, shape (n-1,)
        Hours from pouring each lift to pouring the next.
    shop_c, base, top, mix_c, cells
        As for `solve_lift`; `cells` are for each lift.

    Returns
    -------
    LiftCurve
        Of the last lift; `reheated_below_c` is the hottest any lower lift gets after it.

    Raises
    ------
    ValueError
        If there is not one gap fewer than lifts, or a figure is out of range.
    """
    if len(gaps_h) != len(depths_mm) - 1 or not depths_mm:
        raise ValueError(
            f"{len(depths_mm)} lifts and {len(gaps_h)} gaps; there must be one gap less than lifts"
        )
    stack = _Stack(system, shop_c, base, top, mix_c, cells)
    stack.pour(depths_mm[0])
    for gap_h, depth_mm in zip(gaps_h, depths_mm[1:], strict=True):
        stack.wait(gap_h)
        stack.pour(depth_mm)
    return stack.settle()


@lru_cache(maxsize=512)
def deepest_safe_lift_mm(
    system: SystemData,
    shop_c: float,
    cap_c: float,
    base: Face,
    top: Face,
    *,
    mix_c: float | None = None,
    cured_below_mm: float = 0.0,
) -> float:
    """
    Return the depth at which a lift's peak just reaches `cap_c`, mm.

    Returns
    -------
    float
        0 when even a skin of resin is hotter (shop at or over the cap); `DEEPEST_MM` when no lift
        up to that depth reaches the cap.

    Raises
    ------
    ValueError
        As for `solve_lift`.

    References
    ----------
    .. [1] Rows P144-P147 of the reference cases. Basis: computed here on an invented system.
    """
    from scipy.optimize import brentq

    require.temperature(cap_c=cap_c)

    def over(depth_mm: float) -> float:
        curve = solve_lift(
            system, depth_mm, shop_c, base, top,
            mix_c=mix_c, cured_below_mm=cured_below_mm, cells=30,
        )  # fmt: skip
        return curve.peak_c - cap_c

    shallowest = 1.0
    if shop_c >= cap_c or over(shallowest) >= 0:
        return 0.0
    if over(DEEPEST_MM) <= 0:
        return DEEPEST_MM
    return float(brentq(over, shallowest, DEEPEST_MM, xtol=0.02))


def lift_temps_c(
    system: SystemData,
    depth_mm: float,
    shop_c: float,
    base: Face,
    top: Face,
    height_mm: float,
    times_h: Sequence[float],
    *,
    mix_c: float | None = None,
    cells: int = 30,
) -> Array:
    """
    Return the temperature a probe would read in a lift, C.

    Parameters
    ----------
    system, depth_mm, shop_c, base, top, mix_c, cells
        As for `solve_lift`.
    height_mm : float
        Height of the probe above the base of the lift, mm.
    times_h : sequence of float, shape (n,)
        Rising hours from pouring.

    Returns
    -------
    numpy.ndarray of float, shape (n,)
        Temperatures, C.

    Raises
    ------
    ValueError
        If the probe is outside the lift or a figure is out of range.
    """
    require.within(0.0, depth_mm, height_mm=height_mm)
    stack = _Stack(system, shop_c, base, top, mix_c, cells)
    stack.pour(depth_mm)
    return stack.probe(height_mm, times_h)


class _Stack:
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
        history = self._march(np.linspace(0.0, self._first_span_s(), _READINGS + 1))
        while not self._settled(history):
            end = history.times_s[-1]
            self._temps, self._conversions = history.temps_k[-1], history.conversions[-1]
            more = self._march(np.linspace(0.0, min(end, LONGEST_H * 3600 - end), _READINGS + 1))
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
        cold_c = min(self._shop_c, self._mix_k - KELVIN)
        minutes = isothermal_time_min(self._kinetics, cold_c, self._system.gel_conversion)
        return 60 * min(max(1.1 * minutes, 30.0), LONGEST_H * 60 / 4)

    def _settled(self, history: History) -> bool:
        if history.times_s[-1] >= LONGEST_H * 3600 - 1:
            return True
        last = slice(-self._cells, None)
        hottest = history.temps_k[:, last].max(axis=1)
        still_rising = hottest[-1] - hottest[-_READINGS // 2] > 0.005
        gelled = history.conversions[-1, last].min() >= self._system.gel_conversion
        return bool(gelled and not still_rising)

    def _march(self, times_s: Array) -> History:
        law = RateLaw(self._kinetics, len(self._temps))
        return march(
            self._grid(), law, self._rise, self._shop_c + KELVIN,
            self._temps, self._conversions, times_s,
        )  # fmt: skip

    def _grid(self) -> Grid:
        return slab(self._layers, self._base, self._top)

    def _curve(self, history: History) -> LiftCurve:
        n, gel = self._cells, self._system.gel_conversion
        temps, conversions = history.temps_k[:, -n:] - KELVIN, history.conversions[:, -n:]
        hours = history.times_s / 3600
        hottest = temps.max(axis=1)
        peak_h, peak_c = top_of(hours, hottest)
        where = int(temps[int(hottest.argmax())].argmax())
        depth_mm = 1000 * self._layers[-1][0]
        below = history.temps_k[:, :-n]
        shown = np.unique(np.linspace(0, len(hours) - 1, _SHOWN + 1).astype(int))
        core = n // 2
        return LiftCurve(
            depth_mm=depth_mm,
            shop_c=self._shop_c,
            times_h=_floats(hours[shown]),
            hottest_c=_floats(hottest[shown]),
            core_c=_floats(temps[shown, core]),
            top_c=_floats(temps[shown, -1]),
            core_conversion=_floats(conversions[shown, core]),
            top_conversion=_floats(conversions[shown, -1]),
            peak_c=peak_c,
            peak_h=peak_h,
            peak_height_mm=depth_mm * (where + 0.5) / n,
            gel_core_h=reaches(hours, conversions[:, core], gel),
            gel_top_h=reaches(hours, conversions[:, -1], gel),
            least_conversion=float(min(1.0, max(0.0, conversions[-1].min()))),
            reheated_below_c=float(below.max() - KELVIN) if below.size else None,
        )


def without_brake(system: SystemData) -> SystemData:
    """Return the same system curing without its diffusion brake: the ceiling of what it may do."""
    kinetics, _ = known(system)
    return replace(system, kinetics=replace(kinetics, brake_c=0.0))


def known(system: SystemData) -> tuple[Kinetics, Thermal]:
    """Return what a computation needs, or refuse by name what the system lacks."""
    if system.kinetics is None or system.thermal is None:
        missing = "kinetics" if system.kinetics is None else "heat properties"
        raise ValueError(f"system {system.name} has no {missing}; its lifts cannot be computed")
    return system.kinetics, system.thermal


def top_of(hours: Array, values: Array) -> tuple[float, float]:
    """Return when and how high a curve peaks, by the parabola through its highest readings."""
    i = int(values.argmax())
    if i in (0, len(values) - 1):
        return float(hours[i]), float(values[i])
    t, v = hours[i - 1 : i + 2], values[i - 1 : i + 2]
    bend = (v[2] - v[1]) / (t[2] - t[1]) - (v[1] - v[0]) / (t[1] - t[0])
    if bend >= 0:
        return float(hours[i]), float(values[i])
    a, b, _ = np.polyfit(t - t[1], v - v[1], 2)
    return float(t[1] - b / (2 * a)), float(v[1] - b * b / (4 * a))


def reaches(hours: Array, values: Array, level: float) -> float | None:
    """Return when a curve first reaches a level, or None."""
    above = np.nonzero(values >= level)[0]
    if not above.size:
        return None
    i = int(above[0])
    if i == 0:
        return float(hours[0])
    share = (level - values[i - 1]) / (values[i] - values[i - 1])
    return float(hours[i - 1] + share * (hours[i] - hours[i - 1]))


def _floats(values: Sequence[float] | Array) -> tuple[float, ...]:
    return tuple(float(v) for v in values)
