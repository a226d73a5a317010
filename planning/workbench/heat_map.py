"""The temperatures of a section as a picture: SVG without script or style, darker where hotter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe
from django.utils.text import slugify
from numpy.typing import NDArray

from planning.workbench.curves import WIDTH, svg_text

Array = NDArray[np.float64]

COLD, HOT = (253, 243, 224), (122, 26, 6)
_LEFT, _TOP, _BROAD, _HIGH = 64, 40, 300, 200
_COLUMNS, _ROWS, _SWATCHES = 24, 18, 5


@dataclass(frozen=True)
class Plane:
    """Temperatures on a grid, with the edges of its columns and rows."""

    across_mm: Array
    up_mm: Array
    temps_c: Array
    """Shape (rows, columns), from the base up; nan where nothing was cast."""

    def evenly(self) -> Array:
        """Return the temperatures on a coarse even grid, shape (`_ROWS`, `_COLUMNS`)."""
        rows, columns = (
            np.searchsorted(edges, edges[-1] * (np.arange(count) + 0.5) / count) - 1
            for edges, count in ((self.up_mm, _ROWS), (self.across_mm, _COLUMNS))
        )
        picked: Array = self.temps_c[np.ix_(rows, columns)]
        return picked

    def hottest(self) -> tuple[float, float, float]:
        """Return where across and up it is hottest, mm, and how hot."""
        row, column = np.unravel_index(int(np.nanargmax(self.temps_c)), self.temps_c.shape)
        across = float(self.across_mm[column] + self.across_mm[column + 1]) / 2
        up = float(self.up_mm[row] + self.up_mm[row + 1]) / 2
        return across, up, float(self.temps_c[row, column])


def heat_map(title: str, words: str, plane: Plane, edge_names: Sequence[str]) -> SafeString:
    """
    Draw a section, its middle at the left; `edge_names` are those of the left and right edge.

    `words` tell a reader who cannot see it what it shows.
    """
    broad_mm, high_mm = float(plane.across_mm[-1]), float(plane.up_mm[-1])
    scale = min(_BROAD / broad_mm, _HIGH / high_mm)
    broad, high = max(broad_mm * scale, 40.0), max(high_mm * scale, 40.0)
    low_c, high_c = float(np.nanmin(plane.temps_c)), float(np.nanmax(plane.temps_c))
    name, bottom = slugify(title), _TOP + high
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {bottom + 56:.0f}" '
        f'role="img" aria-labelledby="{name}-title {name}-words">',
        f'<title id="{name}-title">{escape(title)}</title>',
        f'<desc id="{name}-words">{escape(words)}</desc>',
        *_tiles(plane.evenly(), broad, high, low_c, high_c),
        f'<rect class="svg-frame" x="{_LEFT}" y="{_TOP}" width="{broad:.1f}" '
        f'height="{high:.1f}"/>',
        *_swatches(_LEFT + broad + 20, low_c, high_c),
    ]
    across, up, peak_c = plane.hottest()
    x, y = _LEFT + across / broad_mm * broad, bottom - up / high_mm * high
    parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" fill="none" stroke="#ffffff" '
                 'stroke-width="2.5"/>')  # fmt: skip
    parts.append(svg_text(_LEFT, _TOP - 14, f"ring: hottest, {peak_c:.0f} °C", "start"))
    parts.append(svg_text(_LEFT - 6, _TOP + 14, f"{high_mm:g}", "end"))
    parts.append(svg_text(_LEFT - 6, bottom, "0 mm", "end"))
    parts.append(svg_text(_LEFT, bottom + 22, edge_names[0], "start"))
    parts.append(svg_text(_LEFT + broad, bottom + 44, f"{edge_names[1]}, {broad_mm:g} mm", "end"))
    parts.append("</svg>")
    return mark_safe("".join(parts))  # every text above is escaped, all else is numbers


def _tiles(temps: Array, broad: float, high: float, low_c: float, high_c: float) -> list[str]:
    wide, tall = broad / _COLUMNS, high / _ROWS
    return [
        f'<rect x="{_LEFT + column * wide:.1f}" y="{_TOP + high - (row + 1) * tall:.1f}" '
        f'width="{wide + 0.3:.1f}" height="{tall + 0.3:.1f}" '
        f'fill="{_ink(temps[row, column], low_c, high_c)}"/>'
        for row in range(_ROWS)
        for column in range(_COLUMNS)
        if np.isfinite(temps[row, column])
    ]


def _swatches(x: float, low_c: float, high_c: float) -> list[str]:
    parts = []
    for n, temp_c in enumerate(np.linspace(high_c, low_c, _SWATCHES).tolist()):
        y = _TOP + 26 * n
        ink = _ink(temp_c, low_c, high_c)
        parts.append(
            f'<rect class="svg-line" x="{x:.1f}" y="{y}" width="18" height="18" fill="{ink}"/>'
        )
        parts.append(svg_text(x + 24, y + 15, f"{temp_c:.0f} °C", "start"))
    return parts


def _ink(temp_c: float, low_c: float, high_c: float) -> str:
    share = (temp_c - low_c) / (high_c - low_c) if high_c > low_c else 0.0
    mixed = (round(a + share * (b - a)) for a, b in zip(COLD, HOT, strict=True))
    return "#" + "".join(f"{part:02x}" for part in mixed)
