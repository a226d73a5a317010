"""Worth of stock by day, as a picture: one line a currency, told apart by their dashes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shop.buyer.queries import DayWorth
from shop.core.axis import levels, nice

WIDTH, HEIGHT = 720, 280
LEFT, RIGHT, TOP, BOTTOM = 84, 24, 16, 40
DASHES = ("", "9 5", "2 4", "12 3 2 3")


@dataclass(frozen=True)
class Tick:
    """A label on an axis."""

    at: float
    label: str


@dataclass(frozen=True)
class Curve:
    """The worth in one currency."""

    currency: str
    points: str
    dash: str
    end_y: float


@dataclass(frozen=True)
class WorthPicture:
    """Positions in SVG units; the template only writes them down."""

    curves: tuple[Curve, ...]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = WIDTH - RIGHT
    top: int = TOP
    bottom: int = HEIGHT - BOTTOM


def worth_picture(days: Sequence[DayWorth]) -> WorthPicture | None:
    """Draw the worth of stock by day; nothing where no lot has a price."""
    currencies = sorted({currency for one in days for currency in one.worth})
    if not currencies:
        return None
    most = nice(max(float(worth) for one in days for worth in one.worth.values()))
    top = most or 1.0

    def x(n: int) -> float:
        return round(LEFT + n / max(1, len(days) - 1) * (WIDTH - LEFT - RIGHT), 1)

    def y(worth: float) -> float:
        return round(TOP + (1 - max(0.0, worth) / top) * (HEIGHT - TOP - BOTTOM), 1)

    curves = []
    for n, currency in enumerate(currencies):
        worths = [float(one.worth.get(currency, 0)) for one in days]
        points = " ".join(f"{x(i)},{y(worth)}" for i, worth in enumerate(worths))
        curves.append(Curve(currency, points, DASHES[n % len(DASHES)], y(worths[-1])))
    every = max(1, len(days) // 6)
    return WorthPicture(
        tuple(curves),
        tuple(Tick(x(n), f"{days[n].day:%d %b}") for n in range(0, len(days), every)),
        tuple(Tick(y(v), f"{v:,.0f}".replace(",", "\u202f")) for v in levels(0, top)),
    )
