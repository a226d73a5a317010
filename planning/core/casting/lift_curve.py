"""What a computed lift is described by, and reading a curve's peak and crossings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.core.casting.system import Kinetics, SystemData, Thermal

Array = NDArray[np.float64]


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
    before, after = float(hours[i - 1] - hours[i]), float(hours[i + 1] - hours[i])
    down, up = float(values[i - 1] - values[i]), float(values[i + 1] - values[i])
    bend = (up / after - down / before) / (after - before)
    if bend >= 0:
        return float(hours[i]), float(values[i])
    tilt = down / before - bend * before
    return float(hours[i] - tilt / (2 * bend)), float(values[i] - tilt * tilt / (4 * bend))


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


def floats(values: Sequence[float] | Array) -> tuple[float, ...]:
    """Return plain floats, so that a curve can be hashed and written as JSON."""
    return tuple(float(v) for v in values)
