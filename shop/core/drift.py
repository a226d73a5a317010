"""A measured dimension over time: its straight line, the spread round it, and when it leaves."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from shop.core.life_posterior import Spread

COVERED = 0.9
"""Share of cases in which a further measurement lies in the range told; chosen here."""
LEAST_POINTS = 3
"""Two points lie on a line whatever they are, and tell nothing of the spread."""
Side = Literal["below", "within", "above"]


@dataclass(frozen=True)
class Limits:
    """What a dimension may be, in its unit; both ends are still good."""

    lowest: float
    highest: float

    def __post_init__(self) -> None:
        if not self.lowest <= self.highest:
            raise ValueError(f"lowest is {self.lowest}, above highest {self.highest}")

    def side(self, value: float) -> Side:
        """Say where a value lies."""
        if value < self.lowest:
            return "below"
        return "above" if value > self.highest else "within"


@dataclass(frozen=True)
class Trend:
    """
    The line of least squares through measurements, and their scatter round it.

    value = middle + slope (x - centre); `scatter` is the standard deviation of the remainders
    with two degrees of freedom taken off, `square` the sum of (x - centre) squared.
    """

    count: int
    centre: float
    middle: float
    slope: float
    scatter: float
    square: float

    @property
    def factor(self) -> float:
        """Return Student's t for the two-sided range that covers `COVERED`."""
        from scipy.special import stdtrit

        return float(stdtrit(self.count - 2, (1 + COVERED) / 2))

    def at(self, x: float) -> Spread:
        """Return where a further measurement at `x` would lie, in 90 of 100 cases."""
        off = x - self.centre
        line = self.middle + self.slope * off
        reach = math.sqrt(1 + 1 / self.count + off * off / self.square)
        half = self.factor * self.scatter * reach
        return Spread(line - half, line, line + half)

    def slope_range(self) -> Spread:
        """Return the change for each step of x, in 90 of 100 cases."""
        half = self.factor * self.scatter / math.sqrt(self.square)
        return Spread(self.slope - half, self.slope, self.slope + half)

    @property
    def drifts(self) -> bool:
        """Tell whether the slope's range leaves 0 out."""
        found = self.slope_range()
        return found.low > 0 or found.high < 0


@dataclass(frozen=True)
class Leaving:
    """At which x a dimension leaves its limits: at the `earliest`, and by the line itself."""

    earliest: float
    expected: float | None


def trend(points: Sequence[tuple[float, float]], step: float = 0.0) -> Trend | None:
    """
    Return the line through measurements (x, value).

    None for fewer than three, or where all stand at one x.

    Parameters
    ----------
    step : float
        Smallest step of the gauge. The scatter is never taken below step / sqrt(12), the standard
        uncertainty of a reading rounded to that step (JCGM 100:2008, F.2.2.1).

    Notes
    -----
    Least squares and the range of a further value: NIST/SEMATECH e-Handbook of Statistical
    Methods, 4.5.1.2. Checked on the NIST reference data set Norris.
    """
    if step < 0:
        raise ValueError(f"step is {step}; it must be 0 or more")
    count = len(points)
    if count < LEAST_POINTS:
        return None
    centre = math.fsum(x for x, _ in points) / count
    middle = math.fsum(value for _, value in points) / count
    square = math.fsum((x - centre) ** 2 for x, _ in points)
    if square <= 0:
        return None
    slope = math.fsum((x - centre) * (value - middle) for x, value in points) / square
    rest = math.fsum((value - middle - slope * (x - centre)) ** 2 for x, value in points)
    scatter = max(math.sqrt(rest / (count - 2)), step / math.sqrt(12))
    return Trend(count, centre, middle, slope, scatter, square)


def leaves(line: Trend, limits: Limits, start: float, farthest: float) -> Leaving | None:
    """
    Return the x from `start` to `farthest` at which a drifting dimension leaves its limits.

    None where it does not drift, or stays within so far. `earliest` is where the range of a
    further measurement touches the limit towards which the line runs.
    """
    if not line.drifts or farthest <= start:
        return None
    up = line.slope > 0
    limit = limits.highest if up else limits.lowest
    sign = 1.0 if up else -1.0

    def over(x: float) -> float:
        found = line.at(x)
        return sign * ((found.high if up else found.low) - limit)

    if over(start) > 0:
        earliest = start
    elif over(farthest) <= 0:
        return None
    else:
        earliest = _crossing(over, start, farthest)
    met = line.centre + (limit - line.middle) / line.slope
    return Leaving(earliest, max(met, start) if met <= farthest else None)


def _crossing(over: Callable[[float], float], low: float, high: float) -> float:
    """Return where a convex function rises above 0 between two ends, by halving."""
    for _ in range(60):
        middle = (low + high) / 2
        if over(middle) > 0:
            high = middle
        else:
            low = middle
    return high
