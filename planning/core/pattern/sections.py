"""
Section area and volume of a pattern by height, without cutting a single polygon.

Over each point of the board the length of solid below height h is the sum of sign * min(z, h)
over the facets there, +1 for those facing up and -1 for those facing down. Summed over the board:

    V(h) = sum P * mean of min(z, h) over the facet,   A(h) = dV/dh = sum P * share above h

with P the facet's area seen from above, signed. Both are closed forms per facet, so a section
costs one pass over the facets that the plane crosses. Valid for a closed mesh only.
Derived here; checked against polygon sections of a mesh library in the tests.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from planning.core.casting.geometry import CastingShape, Slice
from planning.core.pattern.mesh import Floats, Ints, Mesh

MOST_SLICES = 320
_LEAST_STEP = 1e-7
"""Heights closer than this share of the pattern's height count as one."""


def share_above(low: Floats, middle: Floats, high: Floats, height_mm: float) -> Floats:
    """
    Return the share of each facet's area that lies above a height.

    Parameters
    ----------
    low, middle, high : numpy.ndarray of float, shape (m,)
        Heights of each facet's corners in order, mm. A facet level with the plane counts as above.
    height_mm : float
        Height of the plane, mm.
    """
    shares = (low >= height_mm).astype(np.float64)
    lower = (low < height_mm) & (height_mm <= middle)
    upper = (middle < height_mm) & (height_mm < high)
    z0, z1, z2 = low[lower], middle[lower], high[lower]
    shares[lower] = 1 - (height_mm - z0) ** 2 / ((z1 - z0) * (z2 - z0))
    z0, z1, z2 = low[upper], middle[upper], high[upper]
    shares[upper] = (z2 - height_mm) ** 2 / ((z2 - z0) * (z2 - z1))
    return shares


class Sections:
    """
    Areas and volumes of a closed mesh that lies with its lowest point at height 0.

    Parameters
    ----------
    mesh : Mesh
        Closed, facing outwards, pull upwards.
    """

    def __init__(self, mesh: Mesh) -> None:
        plan = mesh.points_mm[:, :2]
        a, b, c = (plan[mesh.facets[:, corner]] for corner in range(3))
        seen = 0.5 * (
            (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * (b[:, 1] - a[:, 1])
        )
        heights = np.sort(mesh.points_mm[:, 2][mesh.facets], axis=1)
        heights, seen = heights[seen != 0], seen[seen != 0]
        order = np.argsort(heights[:, 0])
        self._seen = seen[order]
        self._low, self._middle, self._high = np.ascontiguousarray(heights[order].T)
        mean = (self._low + self._middle + self._high) / 3
        self._seen_from = np.append(np.cumsum(self._seen[::-1])[::-1], 0.0)
        self._moment_to = np.append(0.0, np.cumsum(self._seen * mean))
        self.height_mm = float(mesh.points_mm[:, 2].max())

    def _crossing(self, index: int, height_mm: float) -> Ints:
        return np.flatnonzero(self._high[:index] > height_mm)

    def area_mm2(self, height_mm: float, just_below: bool = False) -> float:
        """
        Return the section area at a height, mm2.

        Where a flat face makes the area jump it is the area just above, or just below if asked.
        """
        index = int(np.searchsorted(self._low, height_mm, "left" if just_below else "right"))
        cut = self._crossing(index, height_mm)
        z0, z1, z2 = self._low[cut], self._middle[cut], self._high[cut]
        return float(self._seen_from[index] + self._seen[cut] @ share_above(z0, z1, z2, height_mm))

    def volume_below_mm3(self, height_mm: float) -> float:
        """Return the volume of the pattern below a height, mm3."""
        index = int(np.searchsorted(self._low, height_mm, side="left"))
        cut = self._crossing(index, height_mm)
        seen, z0, z1, z2 = self._seen[cut], self._low[cut], self._middle[cut], self._high[cut]
        mean = (z0 + z1 + z2) / 3
        # the mean over a facet of how far it rises above the plane
        over = mean - height_mm
        low_side = height_mm <= z1
        rise = height_mm - z0[low_side]
        over[low_side] += rise**3 / (3 * (z1 - z0)[low_side] * (z2 - z0)[low_side])
        fall = z2[~low_side] - height_mm
        over[~low_side] = fall**3 / (3 * (z2 - z0)[~low_side] * (z2 - z1)[~low_side])
        return float(self._moment_to[index] - seen @ over + height_mm * self._seen_from[index])

    def volume_mm3(self) -> float:
        """Return the volume of the whole pattern, mm3."""
        return float(self._moment_to[-1])

    def _knots(self) -> Floats:
        """Heights where slices meet: all corners, or an even grid and the largest flat faces."""
        step = _LEAST_STEP * self.height_mm
        corners = np.unique(np.concatenate([self._low, self._middle, self._high]))
        if len(corners) > MOST_SLICES:
            level = self._high - self._low <= step
            faces, where = np.unique(self._low[level], return_inverse=True)
            jumps = np.abs(np.bincount(where, self._seen[level])) if len(faces) else np.zeros(0)
            largest = faces[np.argsort(jumps)[::-1][: MOST_SLICES // 4]]
            even = np.linspace(0, self.height_mm, MOST_SLICES - len(largest))
            corners = np.unique(np.concatenate([largest, even]))
        corners = np.concatenate([[0.0], corners, [self.height_mm]])
        kept = [0.0]
        for height in corners.tolist():
            if height - kept[-1] > step:
                kept.append(height)
        kept[-1] = self.height_mm
        return np.array(kept)

    def shape(self) -> Profile:
        """
        Return the pattern as slices of quadratic area, volumes at their ends exact.

        With at most `MOST_SLICES` different corner heights the slices end at the corners and
        every volume is exact; otherwise they end on a fine grid, and what is lost between its
        heights is measured half-way through each slice.
        """
        knots = self._knots()
        below = [self.volume_below_mm3(height) for height in knots.tolist()]
        above = [self.area_mm2(height) for height in knots[:-1].tolist()]
        under = [self.area_mm2(height, just_below=True) for height in knots[1:].tolist()]
        slices = []
        for i in range(len(knots) - 1):
            low, high = float(knots[i]), float(knots[i + 1])
            mean = (below[i + 1] - below[i]) / (high - low)
            middle = (6 * mean - above[i] - under[i]) / 4
            slices.append(Slice(low, high, above[i], middle, under[i]))
        lost = max(
            abs(below[i] + part.volume_mm3(middle) - self.volume_below_mm3(middle))
            for i, part in enumerate(slices)
            for middle in [(part.from_mm + part.to_mm) / 2]
        )
        return Profile(CastingShape(tuple(slices)), lost)


@dataclass(frozen=True)
class Profile:
    """A pattern's area by height, and the most any volume read from it was seen to be off, mm3."""

    shape: CastingShape
    largest_error_mm3: float


def section_table(sections: Sections, heights_mm: ArrayLike) -> list[tuple[float, float, float]]:
    """Return height mm, area mm2 and volume below mm3 for each height."""
    return [
        (height, sections.area_mm2(height), sections.volume_below_mm3(height))
        for height in np.asarray(heights_mm, dtype=np.float64).tolist()
    ]
