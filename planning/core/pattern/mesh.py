"""
A pattern as a mesh of triangles: its unit, its size and how it lies in the box.

Everything after reading works in millimetres, with the pull straight up and the lowest point at
height 0. Arrays are (n, 3) points and (m, 3) facets, corners anticlockwise seen from outside.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

UNITS_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": 25.4}
"""Millimetres in each unit a pattern may be drawn in; the international inch is exact."""
LEAST_SIZE_MM = 0.1
LARGEST_SIZE_MM = 10_000.0
PULLS = {
    "+z": (0.0, 0.0, 1.0),
    "-z": (0.0, 0.0, -1.0),
    "+x": (1.0, 0.0, 0.0),
    "-x": (-1.0, 0.0, 0.0),
    "+y": (0.0, 1.0, 0.0),
    "-y": (0.0, -1.0, 0.0),
}
"""Directions a casting may leave the pattern in, by the axes of the file."""


class PatternRefused(ValueError):
    """A file or setting no pattern can be made of; the sentence says why and what to do."""

    def __init__(self, code: str, sentence: str) -> None:
        self.code = code
        super().__init__(sentence)


@dataclass(frozen=True, eq=False)
class Mesh:
    """Triangles in millimetres; `points_mm` (n, 3) float, `facets` (m, 3) int."""

    points_mm: Floats
    facets: Ints

    def corners(self) -> tuple[Floats, Floats, Floats]:
        """Return the three corners of every facet, each (m, 3) mm."""
        return (
            self.points_mm.take(self.facets[:, 0], axis=0),
            self.points_mm.take(self.facets[:, 1], axis=0),
            self.points_mm.take(self.facets[:, 2], axis=0),
        )

    def area_vectors(self) -> Floats:
        """Return the outward normals with the facet's area as length, (m, 3) mm2."""
        a, b, c = self.corners()
        b -= a
        c -= a
        crossed: Floats = np.cross(b, c)
        crossed *= 0.5
        return crossed

    @property
    def size_mm(self) -> tuple[float, float, float]:
        """Length, width and height of the box round the mesh, mm."""
        spans = self.points_mm.max(axis=0) - self.points_mm.min(axis=0)
        return float(spans[0]), float(spans[1]), float(spans[2])

    def signed_volume_mm3(self, origin_mm: ArrayLike | None = None) -> float:
        """
        Return the sum of a.(b x c)/6 over the facets, mm3.

        It is the volume only of a closed mesh with all facets facing outwards: negative when it
        is inside out, and dependent on `origin_mm` when it leaks. The middle of the points is
        taken as origin unless another is given.
        """
        origin = self.points_mm.mean(axis=0) if origin_mm is None else np.asarray(origin_mm)
        a, b, c = self.corners()
        a -= origin
        b -= origin
        c -= origin
        return float(np.einsum("ij,ij->", a, np.cross(b, c))) / 6


def weld(points_mm: Floats, facets: Ints | None = None) -> Mesh:
    """
    Return a mesh in which points at exactly the same place are one point.

    Parameters
    ----------
    points_mm : numpy.ndarray of float, shape (n, 3)
        Points; without `facets`, three after each other make a facet, as in an STL file.
    facets : numpy.ndarray of int, shape (m, 3), optional
        Rows of `points_mm`.

    Notes
    -----
    Points are compared by a 64-bit mix of their bits, because sorting one number is several
    times faster than sorting rows of three. Each point is then compared with the one it was
    joined to, so two points that only share the mix cannot be joined.
    """
    points = np.ascontiguousarray(points_mm, dtype=np.float64) + 0.0  # makes -0.0 equal 0.0
    bits = points.view(np.uint64)
    mixed = bits[:, 0] * np.uint64(0x9E3779B97F4A7C15)
    mixed ^= mixed >> np.uint64(29)
    mixed += bits[:, 1]
    mixed *= np.uint64(0xBF58476D1CE4E5B9)
    mixed ^= mixed >> np.uint64(32)
    mixed += bits[:, 2]
    mixed *= np.uint64(0x94D049BB133111EB)
    _, first, inverse = np.unique(mixed, return_index=True, return_inverse=True)
    kept = points[first]
    if not np.array_equal(kept[inverse], points):
        kept, inverse = np.unique(points, axis=0, return_inverse=True)
    joined = inverse.reshape(-1, 3) if facets is None else inverse[facets]
    return Mesh(kept, np.ascontiguousarray(joined, dtype=np.int64))


def counted(number: int, noun: str) -> str:
    """Return `1 facet` or `1,200 facets`."""
    return f"{number:,} {noun}" + ("" if number == 1 else "s")


def check_unit(unit: str) -> float:
    """Return millimetres per unit, or raise `PatternRefused`."""
    if unit not in UNITS_MM:
        raise PatternRefused(
            "unit",
            f"unit is {unit!r}; a mesh file has none of its own, so give one of "
            f"{', '.join(UNITS_MM)}.",
        )
    return UNITS_MM[unit]


def check_scale(points_mm: Floats, unit: str) -> None:
    """Raise `PatternRefused` unless the points are finite and of a size a shop could cast."""
    if len(points_mm) == 0:
        raise PatternRefused("empty", "The file holds no facets. Export the pattern again.")
    low, high = points_mm.min(axis=0), points_mm.max(axis=0)
    if not np.isfinite(low).all() or not np.isfinite(high).all():
        raise PatternRefused(
            "not_finite",
            "A corner in the file is not a number or infinite. Export the pattern again.",
        )
    size = float((high - low).max())
    if not LEAST_SIZE_MM <= size <= LARGEST_SIZE_MM:
        raise PatternRefused("wrong_scale", _scale_sentence(size, unit))
    far = float(np.abs(points_mm).max())
    if far > 100 * LARGEST_SIZE_MM:
        raise PatternRefused(
            "wrong_scale",
            f"The pattern lies {far / 1000:.4g} m from the drawing's origin; at most "
            f"{LARGEST_SIZE_MM / 10:g} m, because further out its corners are rounded too "
            "coarsely. Move it to the origin and export it again.",
        )


def _scale_sentence(size_mm: float, unit: str) -> str:
    drawn = size_mm / UNITS_MM[unit]
    fitting = [
        other
        for other, factor in UNITS_MM.items()
        if other != unit and LEAST_SIZE_MM <= drawn * factor <= LARGEST_SIZE_MM
    ]
    hint = f" Drawn in {' or '.join(fitting)}?" if fitting else ""
    return (
        f"The longest side is {size_mm:.4g} mm when the file is read in {unit}; it must be "
        f"{LEAST_SIZE_MM:g} mm to {LARGEST_SIZE_MM:g} mm (10 m).{hint}"
    )


def pull_vector(pull: str | ArrayLike) -> Floats:
    """Return the unit vector of a pull given by name (`+z`) or as three numbers."""
    if isinstance(pull, str):
        if pull not in PULLS:
            raise PatternRefused("pull", f"pull is {pull!r}; give one of {', '.join(PULLS)}.")
        return np.array(PULLS[pull])
    vector = np.asarray(pull, dtype=np.float64)
    length = float(np.linalg.norm(vector)) if vector.shape == (3,) else np.nan
    if not 0 < length < np.inf:
        raise PatternRefused("pull", f"pull is {pull!r}; give three numbers, not all 0.")
    return vector / length


def lay_down(mesh: Mesh, pull: str | ArrayLike = "+z") -> Mesh:
    """
    Turn a mesh so that the pull points straight up and move its lowest corner to the origin.

    Parameters
    ----------
    mesh : Mesh
        As read from the file.
    pull : str or array_like of float, shape (3,)
        Direction the casting leaves the pattern in, in the file's axes.

    Notes
    -----
    The turn never mirrors. For a pull along an axis its matrix holds only 0, 1 and -1, so no
    coordinate is rounded.
    """
    up = pull_vector(pull)
    helper = np.zeros(3)
    # any axis not along the pull would do; x for upright pulls leaves the drawing's x in place
    helper[0 if abs(up[0]) < 0.9 else 1] = 1.0
    along = helper - up * float(helper @ up)
    along /= np.linalg.norm(along)
    turned = mesh.points_mm @ np.stack([along, np.cross(up, along), up]).T
    turned -= turned.min(axis=0)
    return Mesh(turned, mesh.facets)
