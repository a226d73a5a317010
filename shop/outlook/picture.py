"""The outlook as a picture: steps of stock by day, receipts, expiries, the first short day."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from shop.core.axis import nice
from shop.core.outlook import MaterialOutlook
from shop.outlook.queries import day_list

WIDTH, HEIGHT = 960, 320
LEFT, RIGHT, TOP, BOTTOM = 64, 16, 18, 44
TICK_LABEL = 40


@dataclass(frozen=True)
class Mark:
    """Something on a day: where, how tall, in words."""

    x: float
    y: float
    height: float
    words: str


@dataclass(frozen=True)
class Tick:
    """A label on an axis."""

    at: float
    label: str


@dataclass(frozen=True)
class Picture:
    """Positions in SVG units; the template only writes them down."""

    steps: str
    area: str
    zero_y: float
    short_area: str
    receipts: tuple[Mark, ...]
    expiries: tuple[Mark, ...]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    short_x: float | None
    words: str
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = WIDTH - RIGHT
    top: int = TOP
    bottom: int = HEIGHT - BOTTOM


def picture(outlook: MaterialOutlook, unit: str) -> Picture:
    """Draw projected stock as steps: over each day stands what is left at its end."""
    days = day_list(outlook)
    levels = [outlook.opening, *outlook.projected]
    high = nice(max([*levels, 0.0, *outlook.receipts]) or 1.0)
    low = -nice(-min([*levels, 0.0])) if min(levels) < 0 else 0.0
    scale_x = (WIDTH - LEFT - RIGHT) / len(days)
    scale_y = (HEIGHT - TOP - BOTTOM) / (high - low)

    def x(n: float) -> float:
        return round(LEFT + n * scale_x, 1)

    def y(level: float) -> float:
        return round(TOP + (high - level) * scale_y, 1)

    def steps(values: list[float]) -> str:
        points = [f"{x(0)},{y(values[0])}"]
        for n, value in enumerate(values[1:]):
            points += [f"{x(n)},{y(value)}", f"{x(n + 1)},{y(value)}"]
        return " ".join(points)

    line = steps(levels)
    shut = f"{x(len(days))},{y(0)} {x(0)},{y(0)}"
    below = steps([min(0.0, level) for level in levels])
    first = outlook.first_short_day
    return Picture(
        steps=line,
        area=f"{steps([max(0.0, level) for level in levels])} {shut}",
        zero_y=y(0),
        short_area=f"{below} {shut}" if low < 0 else "",
        receipts=tuple(
            Mark(x(n + 0.5), y(q), round(y(0) - y(q), 1), f"{days[n]}: {q:g} {unit} due")
            for n, q in enumerate(outlook.receipts)
            if q
        ),
        expiries=tuple(
            Mark(x(n + 0.5), y(0), 0, f"{days[n]}: {q:g} {unit} expires unused")
            for n, q in enumerate(outlook.expired)
            if q
        ),
        x_ticks=_day_ticks(days, x),
        y_ticks=tuple(Tick(y(v), f"{v:g}") for v in _levels(low, high)),
        short_x=None if first is None else x((first - outlook.start).days),
        words=_words(outlook, unit, days[-1]),
    )


def _levels(low: float, high: float) -> list[float]:
    step = nice((high - low) / 5)
    found = [0.0]
    while found[-1] + step <= high + 1e-9:
        found.append(found[-1] + step)
    while found[0] - step >= low - 1e-9:
        found.insert(0, found[0] - step)
    return found


def _day_ticks(days: list[date], x: Callable[[float], float]) -> tuple[Tick, ...]:
    every = max(1, -(-len(days) // 60)) * 7
    mondays = [n for n, day in enumerate(days) if day.weekday() == 0]
    chosen = [n for n in mondays if (n - (mondays[0] if mondays else 0)) % every == 0]
    ticks = (Tick(x(n), f"{days[n].day} {days[n]:%b}") for n in chosen)
    return tuple(tick for tick in ticks if tick.at < WIDTH - RIGHT - TICK_LABEL)


def _words(outlook: MaterialOutlook, unit: str, last: date) -> str:
    text = f"Stock from {outlook.opening:g} {unit} on {outlook.start} to "
    text += f"{outlook.projected[-1]:g} {unit} on {last}."
    if outlook.first_short_day:
        text += f" Short from {outlook.first_short_day}."
    if outlook.lost:
        text += f" {outlook.lost:g} {unit} expires unused."
    return text
