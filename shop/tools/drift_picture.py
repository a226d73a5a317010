"""How a measured dimension drifts, as a picture: points, line with its range, and limits."""

from __future__ import annotations

from dataclasses import dataclass

from shop.core.axis import levels
from shop.tools.drifting import Drift

WIDTH, HEIGHT = 560, 330
LEFT, RIGHT, TOP, BOTTOM = 84, 84, 36, 56
BEFORE = 12
"""Room before the first measurement, so that its point stands clear of the axis."""
APART = 18
"""Least distance of two labels on the right, above which each can be read."""
POINTS = 24
MARGIN = 0.15
"""Share of the height left free over and under what is drawn."""


@dataclass(frozen=True)
class Mark:
    """A place in SVG units with its label."""

    x: float
    y: float
    label: str
    good: bool = True


@dataclass(frozen=True)
class DriftPicture:
    """Positions in SVG units; the template only writes them down."""

    points: tuple[Mark, ...]
    line: str
    band: str
    lowest_y: float
    nominal_y: float
    highest_y: float
    nominal_label: bool
    """Whether there is room for it between those of the limits."""
    x_ticks: tuple[Mark, ...]
    y_ticks: tuple[Mark, ...]
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = WIDTH - RIGHT
    top: int = TOP
    bottom: int = HEIGHT - BOTTOM


def drift_picture(one: Drift) -> DriftPicture:
    """Draw the measurements of one dimension, and the line with its range to where it leaves."""
    values = [float(row.value or 0) for row in one.found]
    far = max(one.places[-1], one.leaving.earliest if one.leaving else 0.0) * 1.05 or 1.0
    lows, highs = [*values, one.limits.lowest], [*values, one.limits.highest]
    spare = MARGIN * (max(highs) - min(lows) or 1.0)
    low, high = min(lows) - spare, max(highs) + spare

    def x(place: float) -> float:
        return round(LEFT + BEFORE + place / far * (WIDTH - LEFT - BEFORE - RIGHT), 1)

    def y(value: float) -> float:
        inside = min(max(value, low), high)
        return round(TOP + (high - inside) / (high - low) * (HEIGHT - TOP - BOTTOM), 1)

    line = band = ""
    if one.line is not None:
        places = [far * n / POINTS for n in range(POINTS + 1)]
        spreads = [one.line.at(place) for place in places]
        line = f"{x(0)},{y(spreads[0].middle)} {x(far)},{y(spreads[-1].middle)}"
        upper = [f"{x(p)},{y(s.high)}" for p, s in zip(places, spreads, strict=True)]
        lower = [f"{x(p)},{y(s.low)}" for p, s in zip(places, spreads, strict=True)]
        band = " ".join([*upper, *reversed(lower)])
    least_y, nominal_y, most_y = (
        y(v) for v in (one.limits.lowest, float(one.checkpoint.nominal or 0), one.limits.highest)
    )
    return DriftPicture(
        points=tuple(
            Mark(x(place), y(value), f"{value:g} {one.checkpoint.unit}", row.passes)
            for place, value, row in zip(one.places, values, one.found, strict=True)
        ),
        line=line,
        band=band,
        lowest_y=least_y,
        nominal_y=nominal_y,
        highest_y=most_y,
        nominal_label=min(least_y - nominal_y, nominal_y - most_y) >= APART,
        x_ticks=tuple(Mark(x(v), 0, f"{v:g}") for v in levels(0, far)),
        y_ticks=tuple(Mark(0, y(v), f"{v:g}") for v in _heights(low, high)),
    )


def _heights(low: float, high: float) -> list[float]:
    """Return round numbers on the upright axis, also where it spans much less than 1."""
    scale = 1.0
    while (high - low) * scale < 10:
        scale *= 10
    return [round(level / scale, 9) for level in levels(low * scale, high * scale)]
