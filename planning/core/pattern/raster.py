"""
Which facet is in front at each pixel, for a million facets without a graphics card.

Each facet is cut into the rows of pixels it crosses, each row into its pixels, and what is there
competes by depth. The work grows with the area drawn, so long slivers cost little; a mesh whose
facets lie over each other a thousandfold is drawn coarser instead of for ever.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.core.pattern.mesh import Floats, Ints, Mesh

_HANDFUL = 1 << 19
"""Pixels drawn at once; bounds the memory to some tens of megabytes."""
_DEPTH_STEPS = (1 << 31) - 2
_MOST_SAMPLES = 1_000_000
_FACETS_AT_ONCE = 100_000
_MOST_WORK = 120_000_000
"""Rows and pixels drawn at most; some seconds."""


@dataclass(frozen=True, eq=False)
class Raster:
    """
    What is in front: `facet` (h, w), -1 for nothing, and `depth` (h, w), higher is nearer.

    `coarser` is 1, or how many pixels share one value each way when there was too much to draw.
    """

    facet: NDArray[np.int64]
    depth: Floats
    coarser: int = 1


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
    coarser = coarseness(across, facets)
    if coarser > 1:
        shrunk = across * [1 / coarser, 1 / coarser, 1.0]
        small = _raster(shrunk, facets, -(-width // coarser), -(-height // coarser))
        block = np.ones((coarser, coarser), dtype=np.int64)
        return Raster(
            np.kron(small.facet, block)[:height, :width],
            np.kron(small.depth, block)[:height, :width].astype(np.float64),
            coarser,
        )
    return _raster(across, facets, width, height)


def crossings(across: Floats, facets: Ints, width: int, height: int) -> tuple[Ints, Floats, Ints]:
    """
    Return every facet over the middle of every pixel: pixel, height there, and facet, each (k,).

    Parameters
    ----------
    across : numpy.ndarray of float, shape (n, 3)
        Points in pixels right and down, and in any unit up.
    facets : numpy.ndarray of int, shape (m, 3)
        Rows of `across`; facets on edge are over no pixel.
    width, height : int
        Size of the grid, pixels; see `coarseness` for how fine a grid may be.
    """
    none = np.zeros(0, np.int64)
    found: list[tuple[Ints, Floats, Ints]] = [(none, np.zeros(0), none)]
    first, count = _rows(across, facets, height)
    crossed = np.flatnonzero(count)
    for some in _handfuls(crossed, count[crossed], _HANDFUL // 4):
        spans = _spans(across, facets[some], first[some], count[some], width)
        for part in _handfuls(np.arange(len(spans.pixels)), spans.pixels, _HANDFUL):
            place, depth, which = spans.drawn(part, width)
            found.append((place, depth, some[which]))
    places, depths, drawn = zip(*found, strict=True)
    return np.concatenate(places), np.concatenate(depths), np.concatenate(drawn)


def coarseness(across: Floats, facets: Ints) -> int:
    """Return by how much to coarsen so that rows and pixels stay within the work allowed."""
    right, down = (np.ascontiguousarray(across[:, axis]) for axis in range(2))
    low, high = _extent(down, facets)
    rows = float((high - low).sum())
    first, second, third = facets.T
    ax, ay = right.take(first), down.take(first)
    bx, by = right.take(second) - ax, down.take(second) - ay
    cx, cy = right.take(third) - ax, down.take(third) - ay
    pixels = float(np.abs(bx * cy - by * cx).sum()) / 2
    coarser = 1
    while rows / coarser + pixels / coarser**2 > _MOST_WORK:
        coarser *= 2
    return coarser


def _raster(across: Floats, facets: Ints, width: int, height: int) -> Raster:
    near = across[:, 2]
    lowest = float(near.min())
    scale = _DEPTH_STEPS / (float(near.max()) - lowest or 1.0)
    keys = np.zeros(width * height, dtype=np.int64)
    first, count = _rows(across, facets, height)
    crossed = np.flatnonzero(count)
    for some in _handfuls(crossed, count[crossed], _HANDFUL // 4):
        spans = _spans(across, facets[some], first[some], count[some], width)
        for part in _handfuls(np.arange(len(spans.pixels)), spans.pixels, _HANDFUL):
            place, depth, which = spans.drawn(part, width)
            # depth and facet share one number, so the nearest facet wins by a plain maximum
            key = ((depth - lowest) * scale).astype(np.int64).clip(0, _DEPTH_STEPS) + 1
            np.maximum.at(keys, place, (key << 32) | some[which])
    seen = keys > 0
    facet = np.where(seen, keys & 0xFFFFFFFF, -1).reshape(height, width)
    depth = np.where(seen, ((keys >> 32) - 1) / scale + lowest, -np.inf)
    return Raster(facet, depth.reshape(height, width))


def _handfuls(rows: Ints, weights: Ints, most: int) -> list[Ints]:
    """Cut rows into pieces whose weights sum to about `most`, one row at least."""
    if len(rows) == 0:
        return []
    piece = np.cumsum(weights) // most
    return np.split(rows, np.flatnonzero(np.diff(piece)) + 1)


def _extent(values: Floats, facets: Ints) -> tuple[Floats, Floats]:
    """Return the least and the greatest value at the corners of each facet."""
    a, b, c = (values.take(corner) for corner in facets.T)
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


def _rows(across: Floats, facets: Ints, height: int) -> tuple[Ints, Ints]:
    """Return the first row of pixels each facet crosses, and how many rows."""
    low, high = _extent(np.ascontiguousarray(across[:, 1]), facets)
    first = np.clip(np.ceil(low - 0.5), 0, height).astype(np.int64)
    last = np.clip(np.floor(high - 0.5), -1, height - 1).astype(np.int64)
    return first, np.maximum(last - first + 1, 0)


@dataclass(frozen=True, eq=False)
class _Spans:
    """Runs of pixels: facet, row, first column, number of pixels, and depth along the run."""

    which: Ints
    row: Ints
    column: Ints
    pixels: Ints
    depth: Floats
    rise: Floats

    def drawn(self, part: Ints, width: int) -> tuple[Ints, Floats, Ints]:
        """Return pixel, depth and facet for every pixel of some runs."""
        counts = self.pixels[part]
        of = np.repeat(part, counts)
        nth = np.arange(len(of)) - np.repeat(np.cumsum(counts) - counts, counts)
        place = self.row[of] * width + self.column[of] + nth
        return place, self.depth[of] + nth * self.rise[of], self.which[of]


def _spans(across: Floats, facets: Ints, first: Ints, count: Ints, width: int) -> _Spans:
    order = np.argsort(across[facets, 1], axis=1)
    corners = np.take_along_axis(facets, order, axis=1)
    top, middle, bottom = (across.take(corners[:, place], axis=0) for place in range(3))
    which = np.repeat(np.arange(len(facets)), count)
    row = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count) + first[which]
    level: Floats = row.astype(np.float64) + 0.5
    long_x, long_z = _on_side(top, bottom, which, level)
    upper_x, upper_z = _on_side(top, middle, which, level)
    lower_x, lower_z = _on_side(middle, bottom, which, level)
    upper = level < middle[which, 1]
    short_x, short_z = np.where(upper, upper_x, lower_x), np.where(upper, upper_z, lower_z)
    swap = short_x < long_x
    left_x, right_x = np.where(swap, short_x, long_x), np.where(swap, long_x, short_x)
    left_z, right_z = np.where(swap, short_z, long_z), np.where(swap, long_z, short_z)
    column = np.clip(np.ceil(left_x - 0.5), 0, width).astype(np.int64)
    last = np.clip(np.floor(right_x - 0.5), -1, width - 1).astype(np.int64)
    across_x = right_x - left_x
    rise = np.divide(right_z - left_z, across_x, out=np.zeros_like(across_x), where=across_x > 0)
    depth = left_z + (column + 0.5 - left_x) * rise
    return _Spans(which, row, column, np.maximum(last - column + 1, 0), depth, rise)


def _on_side(start: Floats, end: Floats, which: Ints, level: Floats) -> tuple[Floats, Floats]:
    """Return where a side crosses the middle of a row: right and depth."""
    tall = (end - start)[:, 1]
    share = np.divide(
        level - start[which, 1], tall[which], out=np.zeros(len(which)), where=tall[which] > 0
    ).clip(0, 1)
    x = start[which, 0] + share * (end - start)[which, 0]
    z = start[which, 2] + share * (end - start)[which, 2]
    return x, z


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
        drawn = rasterise(across, mesh.facets, columns, rows)
        top, reach = drawn.depth, drawn.coarser
        # the lowest of nine neighbours: a wall beside a point is no roof over it
        self._roof = top.copy()
        for down in (-reach, 0, reach):
            for right in (-reach, 0, reach):
                moved = np.roll(top, (down, right), axis=(0, 1))
                np.minimum(self._roof, moved, out=self._roof)
        self.seen_mm = self.step_mm * reach
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
        aside = points_mm[:, :2] + 1.5 * self.seen_mm * normals[:, :2]
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
