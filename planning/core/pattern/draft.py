"""
Draft of a pattern's surface against the pull, and the undercuts that would lock a casting.

Draft is asin(n.p) of the outward normal n against the pull p: above 0 the casting leaves freely,
0 is an upright wall, below 0 an undercut. A pattern cast in two halves is divided by a level
parting plane; the half below it is pulled downwards.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planning.core.casting.geometry import BadGeometry
from planning.core.pattern.classes import CLASSES
from planning.core.pattern.mesh import Floats, Mesh
from planning.core.pattern.sections import share_above

BAND_DEG = (3.0, 5.0)
"""Usual draft on faces that plunge into the other half. Common practice, no source."""
UPRIGHT_DEG = 0.01
"""Closer to upright than this is upright: what single precision in an STL file can blur."""
SQUARE_DEG = 85.0
_LEVEL = 1e-6
"""A facet within this share of the pattern's height of the board rests on it."""

A_SIDE, B_SIDE, RESTING = 0, 1, 2


def draft_deg(normals: ArrayLike, pull: ArrayLike = (0.0, 0.0, 1.0)) -> Floats:
    """
    Return the draft of faces against a pull.

    Parameters
    ----------
    normals : array_like of float, shape (n, 3)
        Outward normals, of any length but 0.
    pull : array_like of float, shape (3,)
        Direction the casting leaves in.

    Returns
    -------
    numpy.ndarray of float, shape (n,)
        Draft, degrees, -90 to 90.

    Notes
    -----
    asin(n.p/|n||p|), computed as an arc tangent, which stays exact near 90 degrees.

    Examples
    --------
    >>> draft_deg([[1, 0, 0], [0, 0, 2], [0.9, 0.1, -0.05]]).round(4) + 0.0
    array([ 0.    , 90.    , -3.1604])
    """
    normal = np.atleast_2d(np.asarray(normals, dtype=np.float64))
    up = np.asarray(pull, dtype=np.float64)
    up = up / np.linalg.norm(up)
    along = normal @ up
    across = np.linalg.norm(normal - np.outer(along, up), axis=1)
    degrees: Floats = np.degrees(np.arctan2(along, across))
    return degrees


def check_band(band_deg: tuple[float, float]) -> None:
    """Raise `BadGeometry` unless the band runs upwards between an upright and a square face."""
    low, high = band_deg
    if not UPRIGHT_DEG < low < high < SQUARE_DEG:
        raise BadGeometry(
            "draft band",
            low,
            "deg",
            f"above {UPRIGHT_DEG:g} and below its upper end",
            said=f"The draft band is {low:g} to {high:g} deg; it must run upwards between "
            f"{UPRIGHT_DEG:g} and {SQUARE_DEG:g} deg.",
        )


def classify(draft: Floats, band_deg: tuple[float, float] = BAND_DEG) -> NDArray[np.int8]:
    """Return the row of `CLASSES` of each draft; the band has its ends in it, within 0.01."""
    low, high = band_deg
    edges = [-UPRIGHT_DEG, UPRIGHT_DEG, low - UPRIGHT_DEG, high + UPRIGHT_DEG, SQUARE_DEG]
    return np.searchsorted(edges, draft, side="right").astype(np.int8)


@dataclass(frozen=True, eq=False)
class Surface:
    """
    A pattern's facets with what the pull makes of them; arrays have one row a facet.

    `a_mm2` and `b_mm2` are each facet's area on either side of the parting plane, in true size;
    facets lying flat on the board belong to neither, since nothing is cast against them.
    """

    area_vectors: Floats
    a_mm2: Floats
    b_mm2: Floats
    resting: NDArray[np.bool_]
    a_class: NDArray[np.int8]
    b_class: NDArray[np.int8]
    parting_mm: float

    def by_class(self, side: int) -> dict[str, float]:
        """Return the area in each draft class on one side, mm2."""
        rows, areas = (self.a_class, self.a_mm2) if side == A_SIDE else (self.b_class, self.b_mm2)
        sums = np.bincount(rows, areas, minlength=len(CLASSES))
        return dict(zip(CLASSES, map(float, sums), strict=True))

    def undercut_mm2(self, side: int) -> float:
        """Return the area that faces away from its own half's pull, mm2."""
        return self.by_class(side)["undercut"]

    def wetted_mm2(self, side: int) -> float:
        """Return the area resin touches on one side, for release agent and brush coat, mm2."""
        return float((self.a_mm2 if side == A_SIDE else self.b_mm2).sum())

    def locking(self) -> NDArray[np.bool_]:
        """Return which facets are undercut on the side (or sides) they belong to."""
        on_a: NDArray[np.bool_] = (self.a_class == 0) & (self.a_mm2 > 0)
        on_b: NDArray[np.bool_] = (self.b_class == 0) & (self.b_mm2 > 0)
        return on_a | on_b


def examine_surface(
    mesh: Mesh, parting_mm: float = 0.0, band_deg: tuple[float, float] = BAND_DEG
) -> Surface:
    """
    Return the draft of every facet for its own half.

    Parameters
    ----------
    mesh : Mesh
        Pull upwards, lowest point at height 0.
    parting_mm : float
        Height of the parting plane, mm. 0 means one half only: everything is cast from above
        and what lies flat on the board is not cast against.
    band_deg : tuple of float
        Draft wanted on plunging faces, degrees.

    Raises
    ------
    BadGeometry
        If the parting plane lies outside the pattern or the band runs backwards.
    """
    height = float(mesh.points_mm[:, 2].max())
    if not 0 <= parting_mm < height:
        raise BadGeometry(
            "parting_mm",
            parting_mm,
            "mm",
            f"0 to below {height:.6g} mm, the pattern's height",
            "0 casts one half only.",
        )
    check_band(band_deg)
    vectors = mesh.area_vectors()
    areas = np.linalg.norm(vectors, axis=1)
    heights = np.sort(mesh.points_mm[:, 2][mesh.facets], axis=1)
    resting = np.zeros(len(areas), dtype=bool)
    if parting_mm == 0:
        resting = (heights[:, 2] <= _LEVEL * height) & (vectors[:, 2] < 0)
    above = share_above(heights[:, 0], heights[:, 1], heights[:, 2], parting_mm) * areas
    # a face level with the parting plane belongs to the half it faces
    level = heights[:, 2] - heights[:, 0] <= _LEVEL * height
    level &= np.abs(heights[:, 0] - parting_mm) <= _LEVEL * height
    above[level & (vectors[:, 2] < 0)] = 0.0
    above[resting] = 0.0
    below = np.where(resting, 0.0, areas - above)
    draft = draft_deg(vectors)
    return Surface(
        vectors,
        above,
        below,
        resting,
        classify(draft, band_deg),
        classify(-draft, band_deg),
        parting_mm,
    )


@dataclass(frozen=True)
class Patch:
    """A connected undercut: where it is and how bad."""

    area_mm2: float
    from_mm: tuple[float, float, float]
    to_mm: tuple[float, float, float]
    worst_deg: float
    """Most negative draft in it, against its own half's pull."""


def undercut_patches(mesh: Mesh, surface: Surface, most: int = 12) -> tuple[int, list[Patch]]:
    """Return how many connected undercuts there are, and the largest of them."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    locking = np.flatnonzero(surface.locking())
    if len(locking) == 0:
        return 0, []
    facets = mesh.facets[locking]
    count = len(mesh.points_mm)
    rows = np.concatenate([facets[:, 0], facets[:, 1]])
    columns = np.concatenate([facets[:, 1], facets[:, 2]])
    ties = coo_array((np.ones(len(rows), np.int8), (rows, columns)), shape=(count, count))
    _, labels = connected_components(ties, directed=False)
    bodies, body = np.unique(labels[facets[:, 0]], return_inverse=True)
    area = np.where(surface.a_class == 0, surface.a_mm2, 0.0)
    area += np.where(surface.b_class == 0, surface.b_mm2, 0.0)
    areas = np.bincount(body, area[locking])
    against = -np.abs(draft_deg(surface.area_vectors[locking]))
    patches = []
    for largest in np.argsort(areas)[::-1][:most].tolist():
        inside = body == largest
        corners = mesh.points_mm[facets[inside]].reshape(-1, 3)
        low, high = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
        worst = float(against[inside].min())
        patches.append(Patch(float(areas[largest]), tuple(low), tuple(high), worst))
    return len(bodies), patches
