"""
A pattern with few facets, as bytes for a viewer in the page: a look, not a measure.

Form, little endian: facets (uint32); length, width, height in mm (3 x float32); corners, nine
int16 a facet, from the middle of the pattern, its largest size being 65 534 steps; sort of draft
(uint8) a facet, an index into `pattern_picture.SHOWN`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planning.core.pattern.classes import CLASSES
from planning.core.pattern.draft import Surface
from planning.core.pattern.mesh import Ints, Mesh

MOST_FACETS = 12_000
RESTING = len(CLASSES) + 1
_CELLS = (160, 112, 80, 56, 40, 28, 20, 14, 10, 6)
"""Along the largest size; the first that leaves few enough facets is taken."""


def thin_bytes(mesh: Mesh, surface: Surface, most: int = MOST_FACETS) -> bytes:
    """
    Return a pattern of at most `most` facets with each facet's sort of draft.

    Parameters
    ----------
    mesh : Mesh
        Pull upwards.
    surface : Surface
        Of the same mesh.
    most : int
        Facets kept; corners that lie close together are drawn as one until so few are left.
    """
    sorts = np.where(surface.a_mm2 >= surface.b_mm2, surface.a_class, surface.b_class)
    sorts = np.where(surface.resting, RESTING, sorts).astype(np.uint8)
    thin, kept = _thinned(mesh, most)
    low, high = mesh.points_mm.min(axis=0), mesh.points_mm.max(axis=0)
    scale = 65534 / float((high - low).max())
    steps = np.rint((thin.points_mm - (low + high) / 2) * scale).astype("<i2")
    head: bytes = np.array([len(kept)], dtype="<u4").tobytes()
    head += (high - low).astype("<f4").tobytes()
    corners: bytes = steps[thin.facets].tobytes()
    return head + corners + bytes(sorts[kept].tobytes())


def _thinned(mesh: Mesh, most: int) -> tuple[Mesh, Ints]:
    """Return the thinned mesh and which facets of the whole one it keeps."""
    thin, kept = mesh, np.arange(len(mesh.facets))
    for cells in _CELLS:
        if len(kept) <= most:
            break
        thin, kept = _gathered(mesh, cells)
    return thin, kept[:most]


def _gathered(mesh: Mesh, cells: int) -> tuple[Mesh, Ints]:
    """Draw all corners of a cell as one, in their middle; leave out what becomes a line."""
    low = mesh.points_mm.min(axis=0)
    size = float((mesh.points_mm.max(axis=0) - low).max()) / cells
    cell: NDArray[np.int64] = ((mesh.points_mm - low) / size).astype(np.int64)
    number = (cell[:, 0] * (cells + 1) + cell[:, 1]) * (cells + 1) + cell[:, 2]
    _, joined = np.unique(number, return_inverse=True)
    count = np.bincount(joined)
    middles = [np.bincount(joined, mesh.points_mm[:, axis]) / count for axis in range(3)]
    facets = joined[mesh.facets]
    a, b, c = facets.T
    kept = np.flatnonzero((a != b) & (b != c) & (c != a))
    _, first = np.unique(np.sort(facets[kept], axis=1), axis=0, return_index=True)
    kept = kept[np.sort(first)]
    points = np.column_stack(middles)
    return Mesh(points, facets[kept]), kept
