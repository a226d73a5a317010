"""
Which facet is in front at each pixel, for a million facets without a graphics card.

Facets are taken in handfuls; every pixel in the box round each facet is tested against its three
sides, and what remains competes for its pixel by depth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.core.pattern_mesh import Floats, Ints, Mesh

_HANDFUL = 1 << 19
"""Pixels tested at once; bounds the memory to some tens of megabytes."""
_DEPTH_STEPS = (1 << 31) - 2
_MOST_SAMPLES = 1_000_000
_FACETS_AT_ONCE = 100_000


@dataclass(frozen=True, eq=False)
class Raster:
    """What is in front: `facet` (h, w), -1 for nothing, and `depth` (h, w), higher is nearer."""

    facet: NDArray[np.int64]
    depth: Floats


def rasterise(across: Floats, facets: Ints, width: int, height: int) -> Raster:
    """
    Return the frontmost facet at the middle of each pixel.

    Parameters
    ----------
    across : numpy.ndarray of float, shape (n, 3)
        Points in pixels: right, down, and nearness (larger is nearer).
    facets : numpy.ndarray of int, shape (m, 3)
        Rows of `across`; drawn whichever way they face.
    width, height : int
        Size of the picture, pixels.
    """
    near = across[:, 2]
    span = float(near.max() - near.min()) or 1.0
    scale = _DEPTH_STEPS / span
    keys = np.zeros(width * height, dtype=np.int64)
    lows, sizes = _boxes(across, facets, width, height)
    pixels = sizes[:, 0] * sizes[:, 1]
    shown = np.flatnonzero(pixels > 0)
    ends = np.cumsum(pixels[shown])
    start = 0
    while start < len(shown):
        before = ends[start - 1] if start else 0
        stop = max(start + 1, int(np.searchsorted(ends, before + _HANDFUL, side="right")))
        some = shown[start:stop]
        place, depth, which = _covered(across, facets[some], lows[some], sizes[some], width)
        # depth and facet share one number, so the nearest facet wins by a plain maximum
        key = ((depth - near.min()) * scale).astype(np.int64) + 1
        np.maximum.at(keys, place, (key << 32) | some[which])
        start = stop
    seen = keys > 0
    facet = np.where(seen, keys & 0xFFFFFFFF, -1).reshape(height, width)
    depth = np.where(seen, ((keys >> 32) - 1) / scale + near.min(), -np.inf)
    return Raster(facet, depth.reshape(height, width))


def _boxes(across: Floats, facets: Ints, width: int, height: int) -> tuple[Ints, Ints]:
    """Return first pixel (m, 2) and number of pixels (m, 2) of the box round each facet."""
    flat = across[:, :2]
    low, high = flat[facets[:, 0]], flat[facets[:, 0]].copy()
    for corner in (1, 2):
        np.minimum(low, flat[facets[:, corner]], out=low)
        np.maximum(high, flat[facets[:, corner]], out=high)
    first = np.clip(np.ceil(low - 0.5), 0, [width, height]).astype(np.int64)
    last = np.clip(np.floor(high - 0.5), -1, [width - 1, height - 1]).astype(np.int64)
    return first, np.maximum(last - first + 1, 0)


def _covered(
    across: Floats, facets: Ints, lows: Ints, sizes: Ints, width: int
) -> tuple[Ints, Floats, Ints]:
    """Return pixel, depth and row of `facets` for every pixel whose middle a facet covers."""
    counts = sizes[:, 0] * sizes[:, 1]
    which = np.repeat(np.arange(len(facets)), counts)
    nth = np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
    columns = sizes[which, 0]
    x = lows[which, 0] + nth % columns
    y = lows[which, 1] + nth // columns
    a, b, c = (across[facets[:, corner]] for corner in range(3))
    turn = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * (b[:, 1] - a[:, 1])
    with np.errstate(divide="ignore", invalid="ignore"):
        # shares of b and c at a pixel, linear in x and y; edge-on facets give no number
        bx, by = (c[:, 1] - a[:, 1]) / turn, -(c[:, 0] - a[:, 0]) / turn
        cx, cy = -(b[:, 1] - a[:, 1]) / turn, (b[:, 0] - a[:, 0]) / turn
        right, down = x + 0.5 - a[which, 0], y + 0.5 - a[which, 1]
        of_b = right * bx[which] + down * by[which]
        of_c = right * cx[which] + down * cy[which]
        inside = (of_b >= -1e-9) & (of_c >= -1e-9) & (of_b + of_c <= 1 + 1e-9)
    which, of_b, of_c = which[inside], of_b[inside], of_c[inside]
    rise_b, rise_c = b[:, 2] - a[:, 2], c[:, 2] - a[:, 2]
    depth = a[which, 2] + of_b * rise_b[which] + of_c * rise_c[which]
    return y[inside] * width + x[inside], depth, which


class Overhang:
    """
    What a pull meets on its way out: the topmost surface over each point of the board.

    Built on a grid, so thin overhangs below one grid step may be missed and areas are
    estimates; facets that face away from the pull are found exactly elsewhere.

    Parameters
    ----------
    mesh : Mesh
        Pull upwards.
    downwards : bool
        Whether the pull is downwards instead, for the lower half.
    cells : int
        Grid cells along the longer side.
    """

    def __init__(self, mesh: Mesh, downwards: bool = False, cells: int = 1000) -> None:
        self._sign = -1.0 if downwards else 1.0
        length, width, height = mesh.size_mm
        self._low = mesh.points_mm[:, :2].min(axis=0)
        self.step_mm = max(length, width) / cells
        columns, rows = (int(np.ceil(side / self.step_mm)) + 4 for side in (length, width))
        across = np.column_stack(
            [
                (mesh.points_mm[:, :2] - self._low) / self.step_mm + 2,
                self._sign * mesh.points_mm[:, 2],
            ]
        )
        top = rasterise(across, mesh.facets, columns, rows).depth
        # the lowest of nine neighbours: a wall beside a point is no roof over it
        self._roof = top.copy()
        for down in (-1, 0, 1):
            for right in (-1, 0, 1):
                moved = np.roll(top, (down, right), axis=(0, 1))
                np.minimum(self._roof, moved, out=self._roof)
        self._slack_mm = 1e-4 * max(height, self.step_mm)

    def covers(self, points_mm: Floats, normals: Floats) -> NDArray[np.bool_]:
        """
        Return which surface points lie under something on their way out.

        Parameters
        ----------
        points_mm : numpy.ndarray of float, shape (n, 3)
            Points on the surface.
        normals : numpy.ndarray of float, shape (n, 3)
            Unit outward normals there. The look-up is one and a half steps away from steep
            walls, so that a wall's own top edge does not count as lying over it.
        """
        aside = points_mm[:, :2] + 1.5 * self.step_mm * normals[:, :2]
        cell = np.floor((aside - self._low) / self.step_mm + 2).astype(np.int64)
        rows, columns = self._roof.shape
        column = np.clip(cell[:, 0], 0, columns - 1)
        row = np.clip(cell[:, 1], 0, rows - 1)
        over: NDArray[np.bool_] = (
            self._roof[row, column] > self._sign * points_mm[:, 2] + self._slack_mm
        )
        return over


def trapped_mm2(
    overhang: Overhang, mesh: Mesh, area_vectors: Floats, areas_mm2: Floats, upwards: bool
) -> float:
    """
    Return the area that faces its pull but lies under an overhang, mm2.

    Parameters
    ----------
    overhang : Overhang
        For the same pull.
    mesh : Mesh
        Pull upwards.
    area_vectors : numpy.ndarray of float, shape (m, 3)
        Outward normals, each as long as its facet's area.
    areas_mm2 : numpy.ndarray of float, shape (m,)
        Area of each facet that belongs to this half.
    upwards : bool
        Whether this half is pulled upwards.

    Notes
    -----
    Points spread evenly over each facet stand for it, more of them on larger facets. The rim of
    a roof counts as open for one grid step, so the figure is a little low.
    """
    facing = area_vectors[:, 2] >= 0 if upwards else area_vectors[:, 2] <= 0
    some = np.flatnonzero(facing & (areas_mm2 > 0))
    if len(some) == 0:
        return 0.0
    per_sample = max(overhang.step_mm**2, float(areas_mm2[some].sum()) / _MOST_SAMPLES)
    counts = np.ceil(areas_mm2[some] / per_sample).astype(np.int64)
    total = 0.0
    for first in range(0, len(some), _FACETS_AT_ONCE):
        part = slice(first, first + _FACETS_AT_ONCE)
        which = np.repeat(some[part], counts[part])
        weight = np.repeat(areas_mm2[some[part]] / counts[part], counts[part])
        points = _spread(mesh, which, counts[part])
        normals = area_vectors[which]
        normals /= np.linalg.norm(normals, axis=1)[:, None]
        total += float(weight[overhang.covers(points, normals)].sum())
    return total


def _spread(mesh: Mesh, which: Ints, counts: Ints) -> Floats:
    """Return points spread evenly over facets, one per row of `which`, on a lattice."""
    nth = np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
    u = (0.5 + nth * 0.7548776662466927) % 1
    v = (0.5 + nth * 0.5698402909980532) % 1
    folded = u + v > 1
    u[folded], v[folded] = 1 - u[folded], 1 - v[folded]
    single = np.repeat(counts, counts) == 1
    u[single], v[single] = 1 / 3, 1 / 3
    a, b, c = (mesh.points_mm[mesh.facets[which, corner]] for corner in range(3))
    points: Floats = a + u[:, None] * (b - a) + v[:, None] * (c - a)
    return points
