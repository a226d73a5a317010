"""Line charts as SVG without script or style: printable, readable in black and white."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe
from django.utils.text import slugify

WIDTH, HEIGHT = 480, 320
LEFT, RIGHT, TOP, BOTTOM = 52, 106, 36, 52
DASHES = ("", "9 5", "2 4", "12 4 2 4", "5 3")
LIMIT_INK = "#9c1414"
INKS = ("#0a4a66", "#7a4300", "#17603a", "#5b2a86", "#14202b")


@dataclass(frozen=True)
class Line:
    """One line of a chart; its label stands at its right end."""

    label: str
    xs: Sequence[float]
    ys: Sequence[float]


@dataclass(frozen=True)
class Level:
    """A level that matters, drawn across."""

    label: str
    y: float


@dataclass(frozen=True)
class Mark:
    """A point that matters, ringed and named."""

    label: str
    x: float
    y: float


def line_chart(
    title: str,
    words: str,
    x_label: str,
    y_label: str,
    lines: Sequence[Line],
    *,
    levels: Sequence[Level] = (),
    marks: Sequence[Mark] = (),
) -> SafeString:
    """Draw lines over one pair of axes; `words` tell a reader who cannot see it what it shows."""
    xs = [x for line in lines for x in line.xs]
    ys = [y for line in lines for y in line.ys] + [level.y for level in levels]
    x_ticks, y_ticks = _ticks(min(xs), max(xs), 6), _ticks(min(ys), max(ys), 6)
    scale = _Scale(x_ticks[0], max(x_ticks[-1], max(xs)), y_ticks[0], y_ticks[-1])
    name = slugify(title)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f'aria-labelledby="{name}-title {name}-words">',
        f'<title id="{name}-title">{escape(title)}</title>',
        f'<desc id="{name}-words">{escape(words)}</desc>',
        *_axes(scale, x_ticks, y_ticks, x_label, y_label),
        *_lines(scale, lines, levels),
        *_marks(scale, marks),
        "</svg>",
    ]
    return mark_safe("".join(parts))  # every text above is escaped, all else is numbers


@dataclass(frozen=True)
class Bar:
    """A stretch of time on a row of its own; an end of None is not known and runs on."""

    label: str
    start: float
    end: float | None


def bar_chart(title: str, words: str, x_label: str, bars: Sequence[Bar]) -> SafeString:
    """Draw stretches of time under one another, each under its own words."""
    known = [at for bar in bars for at in (bar.start, bar.end) if at is not None]
    ticks = _ticks(0.0, 1.25 * max([*known, 1.0]), 8)
    height = TOP + 52 * len(bars) + BOTTOM
    scale = _Scale(0.0, ticks[-1], 0.0, 1.0, right=12, left=12)
    name = slugify(title)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img" '
        f'aria-labelledby="{name}-title {name}-words">',
        f'<title id="{name}-title">{escape(title)}</title>',
        f'<desc id="{name}-words">{escape(words)}</desc>',
    ]
    bottom = height - BOTTOM
    for tick in ticks:
        x = scale.x(tick)
        parts.append(f'<line class="svg-line" x1="{x}" x2="{x}" y1="{TOP - 14}" y2="{bottom}"/>')
        parts.append(svg_text(x, bottom + 22, f"{tick:g}", "middle"))
    for n, bar in enumerate(bars):
        y = TOP + 52 * n
        x, end = scale.x(bar.start), scale.x(ticks[-1] if bar.end is None else bar.end)
        kind = "bar--batch" if n % 2 == 0 else "bar--step"
        parts.append(
            f'<rect class="bar {kind}" x="{x}" y="{y + 8}" width="{max(end - x, 1):g}" '
            'height="22"/>'
        )
        parts.append(svg_text(scale.x(0.0), y + 2, bar.label, "start"))
    parts.append(svg_text(WIDTH / 2, height - 6, x_label, "middle"))
    parts.append("</svg>")
    return mark_safe("".join(parts))  # every text above is escaped, all else is numbers


@dataclass(frozen=True)
class _Scale:
    x_low: float
    x_high: float
    y_low: float
    y_high: float
    left: float = LEFT
    right: float = RIGHT

    def x(self, value: float) -> float:
        span = self.x_high - self.x_low or 1.0
        wide = WIDTH - self.left - self.right
        return round(self.left + (value - self.x_low) / span * wide, 1)

    def y(self, value: float) -> float:
        span = self.y_high - self.y_low or 1.0
        return round(HEIGHT - BOTTOM - (value - self.y_low) / span * (HEIGHT - TOP - BOTTOM), 1)


def _ticks(low: float, high: float, about: int) -> list[float]:
    span = high - low or max(abs(high), 1.0)
    raw = span / about
    size = 10.0 ** math.floor(math.log10(raw))
    step = next(s * size for s in (1, 2, 2.5, 5, 10) if s * size >= raw)
    first, last = math.floor(low / step), math.ceil(high / step)
    return [i * step for i in range(first, max(last, first + 1) + 1)]


def _axes(
    scale: _Scale, x_ticks: list[float], y_ticks: list[float], x_label: str, y_label: str
) -> list[str]:
    bottom, right = HEIGHT - BOTTOM, WIDTH - RIGHT
    parts = []
    for tick in y_ticks:
        y = scale.y(tick)
        parts.append(f'<line class="svg-line" x1="{LEFT}" x2="{right}" y1="{y}" y2="{y}"/>')
        parts.append(svg_text(LEFT - 6, y + 5, f"{tick:g}", "end"))
    for tick in x_ticks:
        if tick > scale.x_high + 1e-9:
            continue
        x = scale.x(tick)
        parts.append(
            f'<line class="svg-frame" x1="{x}" x2="{x}" y1="{bottom}" y2="{bottom + 5}"/>'
        )
        parts.append(svg_text(x, bottom + 22, f"{tick:g}", "middle"))
    parts.append(f'<path class="svg-frame" d="M{LEFT} {TOP}V{bottom}H{right}"/>')
    parts.append(svg_text((LEFT + right) / 2, HEIGHT - 6, x_label, "middle"))
    parts.append(svg_text(4, 18, y_label, "start"))
    return parts


def _lines(scale: _Scale, lines: Sequence[Line], levels: Sequence[Level]) -> list[str]:
    parts = []
    taken: list[float] = []
    right = WIDTH - RIGHT
    for level in levels:
        y = scale.y(level.y)
        parts.append(
            f'<line class="curve curve--limit" x1="{LEFT}" x2="{right}" y1="{y}" y2="{y}"/>'
        )
        parts.append(svg_text(right + 6, _clear_of(taken, y + 5), level.label, "start", LIMIT_INK))
    for n, line in enumerate(lines):
        points = " ".join(
            f"{scale.x(x)},{scale.y(y)}" for x, y in zip(line.xs, line.ys, strict=True)
        )
        ink, dash = INKS[n % len(INKS)], DASHES[n % len(DASHES)]
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        parts.append(
            f'<polyline fill="none" stroke="{ink}" stroke-width="2.5"{dashes} points="{points}"/>'
        )
        y = _clear_of(taken, scale.y(line.ys[-1]) + 5)
        parts.append(svg_text(right + 6, y, line.label, "start", ink))
    return parts


def _marks(scale: _Scale, marks: Sequence[Mark]) -> list[str]:
    parts = []
    for mark in marks:
        x, y = scale.x(mark.x), scale.y(mark.y)
        parts.append(f'<circle class="svg-frame" cx="{x}" cy="{y}" r="5" stroke-width="2.5"/>')
        room = x + 10 + 9 * len(mark.label) < WIDTH - RIGHT
        parts.append(
            svg_text(x + 10, y + 5, mark.label, "start")
            if room
            else svg_text(x, y - 10, mark.label, "end")
        )
    return parts


def _clear_of(taken: list[float], wanted: float) -> float:
    """Move a label down until it stands 17 clear of those already placed."""
    while any(abs(wanted - other) < 17 for other in taken):
        wanted += 3
    taken.append(wanted)
    return round(wanted, 1)


def svg_text(x: float, y: float, words: str, anchor: str, ink: str = "") -> str:
    """Return words at a place; in the page's ink where none is given."""
    fill = f' fill="{ink}"' if ink else ' class="svg-text"'
    face = ' font-family="sans-serif"' if ink else ""
    return (
        f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}" font-size="16"{fill}{face}>'
        f"{escape(words)}</text>"
    )
