"""How long the tools of a family last, as a picture: steps seen, life supposed, 90 % bands."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from shop.core.axis import levels, nice
from shop.core.life_posterior import COVERED
from shop.core.tool_life import SurvivalStep, band, survival_steps
from shop.tools.life import Known

WIDTH, HEIGHT = 560, 390
LEFT, RIGHT, TOP, BOTTOM = 52, 34, 36, 56
POINTS = 32
PAST_LIFE = 1.1
"""How far past the 5 % point of the life, or the last tool, the picture goes."""


@dataclass(frozen=True)
class Tick:
    """A label on an axis."""

    at: float
    label: str


@dataclass(frozen=True)
class LifePicture:
    """Positions in SVG units; the template only writes them down."""

    band: str
    curve: str
    steps_band: str
    steps: str
    sound: tuple[Tick, ...]
    stated_x: float | None
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = WIDTH - RIGHT
    top: int = TOP
    bottom: int = HEIGHT - BOTTOM


def life_picture(known: Known) -> LifePicture | None:
    """Draw the share of tools still going over shots; nothing where no life is known."""
    life = known.posterior
    if life is None:
        return None
    last = max([life.median_life().middle * 2, *(x.shots for x in known.history)])
    far = nice(PAST_LIFE * last)

    def x(shots: float) -> float:
        return round(LEFT + shots / far * (WIDTH - LEFT - RIGHT), 1)

    def y(share: float) -> float:
        return round(TOP + (1 - share) * (HEIGHT - TOP - BOTTOM), 1)

    def line(points: Iterable[tuple[float, float]]) -> str:
        return " ".join(f"{x(shots)},{y(share)}" for shots, share in points)

    shots = [far * n / POINTS for n in range(POINTS + 1)]
    shares = life.survival(shots)
    upper = [(at, s.high) for at, s in zip(shots, shares, strict=True)]
    lower = [(at, s.low) for at, s in zip(shots, shares, strict=True)]
    steps = survival_steps(known.history)
    end = max((x.shots for x in known.history), default=0.0)
    bands = [band(step, COVERED) for step in steps if step.survival > 0]
    seen_up = _corners(steps, [high for _, high in bands], end)  # no error once none is left
    seen_low = _corners(steps, [low for low, _ in bands], end)
    sound = [x.shots for x in known.history if not x.failed]
    return LifePicture(
        band=line([*upper, *reversed(lower)]),
        curve=line((at, s.middle) for at, s in zip(shots, shares, strict=True)),
        steps_band=line([*seen_up, *reversed(seen_low)]) if steps else "",
        steps=line(_corners(steps, [s.survival for s in steps], end)) if end else "",
        sound=tuple(Tick(x(s), f"sound after {s:g} shots") for s in sorted(sound)),
        stated_x=x(known.stated) if known.stated and known.stated <= far else None,
        x_ticks=tuple(Tick(x(v), f"{v:g}") for v in levels(0, far)),
        y_ticks=tuple(Tick(y(v / 100), f"{v}") for v in range(0, 101, 20)),
    )


def _corners(
    steps: Sequence[SurvivalStep], shares: Sequence[float], end: float
) -> list[tuple[float, float]]:
    """Return the corners of a line of steps from 0 shots to the last tool."""
    found, level = [(0.0, 1.0)], 1.0
    for step, share in zip(steps, shares, strict=False):
        found += [(step.shots, level), (step.shots, share)]
        level = share
    return [*found, (end, level)]
