"""
The one body a casting is poured round: bodies united, sealed hollows left out, crossings found.

A pattern file may hold several closed bodies. Resin cannot reach a hollow that is sealed inside
a body, and where two bodies overlap there is only one solid. Overlaps are united by a Boolean
engine (manifold3d). A body that crosses itself is not mended: the place is named.

Whether a surface counts anything twice is seen along columns through the mesh: going up, a
column of a sound body enters and leaves in turn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.core.pattern.mesh import Flags, Floats, Mesh, counted
from planning.core.pattern.raster import coarseness, crossings
from planning.core.pattern.sound import bodies_of, parts_by_edges

MOST_BODIES = 2000
"""With more bodies than this the file is loose scraps."""
LARGEST_DOUBTFUL_SHARE = 1e-4
"""Of the volume: a tenth of the 0.1 % a volume may be off. A smaller overlap is harmless."""
_COLUMNS = 512
_TURN_RAD = 0.7310585
"""The columns stand turned against the axes, so that no flat wall lies between two rows."""
_PROBES = 12
"""So many points of a body tell whether it lies in another."""
_UNEVEN = np.array([0.4531, 0.3187, 0.2282])
_LEAST_LENGTH = 1e-6
"""Stretches of a column shorter than this share of the pattern's size are rounding."""


@dataclass(frozen=True, eq=False)
class Outer:
    """The outside of a pattern, what was done to get it, and why it has no volume if so."""

    mesh: Mesh
    remarks: tuple[str, ...] = ()
    refused: str = ""


@dataclass(frozen=True)
class Doubt:
    """Volume that a surface counts twice or less than never, mm3, and a point inside it."""

    volume_mm3: float
    share: float
    """Of the volume inside the surface."""
    at_mm: tuple[float, float, float]


def outer_body(mesh: Mesh, bodies_found: int | None = None) -> Outer:
    """
    Return the outside of a closed pattern as one sound surface.

    Parameters
    ----------
    mesh : Mesh
        Closed; every body may face either way.
    bodies_found : int, optional
        How many separate bodies it has, where that is known already.

    Returns
    -------
    Outer
        Its mesh leaves out sealed hollows and unites overlapping bodies. `refused` names the
        place when the surface crosses itself, or says that it is inside out.
    """
    count, of_point = bodies_of(mesh) if bodies_found != 1 else (1, None)
    of_facet = None if of_point is None else of_point[mesh.facets[:, 0]]
    found = _outside(mesh, count, of_facet)
    if not found.refused or count > MOST_BODIES:
        return found
    # Bodies that touch in a corner or along an edge are one by their points.
    split = parts_by_edges(mesh)
    if split is None or not count < split[0] <= MOST_BODIES:
        return found
    return _outside(mesh, *split)


def _outside(mesh: Mesh, count: int, of_facet: NDArray[np.int32] | None) -> Outer:
    remarks: list[str] = []
    if count > MOST_BODIES:
        return Outer(
            mesh, (), f"The file holds {count:,} separate bodies; at most {MOST_BODIES:,}."
        )
    if of_facet is not None and count > 1:
        bodies = Bodies(mesh, of_facet)
        hollows = bodies.hollows()
        if bodies.inside_out(hollows).any():
            return Outer(
                mesh,
                (),
                f"{int(bodies.inside_out(hollows).sum())} of {count} bodies are inside out. "
                "Have them repaired here and look at what was done.",
            )
        mesh, remarks, refused = bodies.united(hollows)
        if refused:
            return Outer(mesh, tuple(remarks), refused)
    elif mesh.signed_volume_mm3() < 0:
        return Outer(
            mesh,
            (),
            "The surface is inside out: its facets face inwards. Have it repaired here and look "
            "at what was done.",
        )
    doubt = counted_twice(mesh)
    if doubt.share > LARGEST_DOUBTFUL_SHARE:
        x, y, z = doubt.at_mm
        return Outer(
            mesh,
            tuple(remarks),
            f"The surface crosses itself near x {x:.1f}, y {y:.1f}, z {z:.1f} mm of the file, "
            f"about {doubt.volume_mm3 / 1000:.3g} cm3 ({100 * doubt.share:.2g} % of the "
            "volume). Unite the parts in the drawing program and export the pattern again.",
        )
    return Outer(mesh, tuple(remarks))


def counted_twice(mesh: Mesh, columns: int = _COLUMNS) -> Doubt:
    """
    Return how much volume a closed mesh counts twice, or as less than nothing.

    Parameters
    ----------
    mesh : Mesh
        Closed.
    columns : int
        Along the longer side of the pattern seen from above; what is thinner than a column may
        be missed where it is also small: an overlap seen by n columns is estimated within about
        1 in the square root of n.
    """
    turn = np.array(
        [
            [np.cos(_TURN_RAD), -np.sin(_TURN_RAD)],
            [np.sin(_TURN_RAD), np.cos(_TURN_RAD)],
        ]
    )
    plan = mesh.points_mm[:, :2] @ turn.T
    low = plan.min(axis=0)
    spans = plan.max(axis=0) - low
    step_mm = float(spans.max()) / columns
    across = np.column_stack([(plan - low) / step_mm + 1, mesh.points_mm[:, 2]])
    coarser = coarseness(across, mesh.facets)
    if coarser > 1:
        return counted_twice(mesh, max(1, columns // coarser))
    wide, high = (int(np.ceil(span / step_mm)) + 2 for span in spans)
    place, height, facet = crossings(across, mesh.facets, wide, high)
    order = np.lexsort((height, place))
    place, height, facet = place[order], height[order], facet[order]
    if len(place) == 0:
        return Doubt(0.0, 0.0, (0.0, 0.0, 0.0))
    first = np.flatnonzero(np.diff(place, prepend=-1))
    of_column = np.repeat(np.arange(len(first)), np.diff(first, append=len(place)))
    last = np.append(first[1:], len(place)) - 1
    entered = np.cumsum(_enters(mesh, facet))
    inside = entered - np.append(0, entered[last[:-1]])[of_column]
    length = np.diff(height, append=height[-1:])
    length[last] = 0.0
    # a column that misses a facet by rounding does not end outside; it tells nothing
    length[(inside[last] != 0)[of_column]] = 0.0
    length[length < _LEAST_LENGTH * max(mesh.size_mm)] = 0.0
    doubtful = np.where((inside > 1) | (inside < 0), length, 0.0)
    whole = float(length[inside != 0].sum())
    worst = int(doubtful.argmax()) if len(doubtful) else 0
    if whole == 0.0 or doubtful[worst] == 0.0:
        return Doubt(0.0, 0.0, (0.0, 0.0, 0.0))
    pixel = np.array([place[worst] % wide, place[worst] // wide]) + 0.5
    x, y = ((pixel - 1) * step_mm + low) @ turn
    share = float(doubtful.sum()) / whole
    at = (float(x), float(y), float(height[worst] + length[worst] / 2))
    return Doubt(float(doubtful.sum()) * step_mm**2, share, at)


def _enters(mesh: Mesh, facet: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return 1 for crossings into the solid going up, -1 for those out of it."""
    a, b, c = (mesh.points_mm[mesh.facets[facet, corner], :2] for corner in range(3))
    b -= a
    c -= a
    seen = b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0]
    return np.where(seen < 0, 1, -1).astype(np.int64)


class Bodies:
    """The separate closed bodies of a mesh, with their volumes and boxes."""

    def __init__(self, mesh: Mesh, of_facet: NDArray[np.int32]) -> None:
        self.mesh = mesh
        labels, self.of_facet = np.unique(of_facet, return_inverse=True)
        self.count = len(labels)
        a, b, c = mesh.corners()
        middle = mesh.points_mm.mean(axis=0)
        a -= middle
        b -= middle
        c -= middle
        parts = np.einsum("ij,ij->i", a, np.cross(b, c)) / 6
        self.volume_mm3 = np.bincount(self.of_facet, parts, self.count)
        order = np.argsort(self.of_facet, kind="stable")
        self.facets = np.split(order, np.cumsum(np.bincount(self.of_facet))[:-1])
        self.low = np.array([self._points(i).min(axis=0) for i in range(self.count)])
        self.high = np.array([self._points(i).max(axis=0) for i in range(self.count)])

    def _points(self, body: int) -> Floats:
        points: Floats = self.mesh.points_mm[self.mesh.facets[self.facets[body]].ravel()]
        return points

    def hollows(self) -> Flags:
        """Return which bodies face inwards and lie in a body that faces outwards."""
        hollow = np.zeros(self.count, bool)
        for body in np.flatnonzero(self.volume_mm3 < 0).tolist():
            points = self._on(body)
            for other in np.flatnonzero(self.volume_mm3 > 0).tolist():
                if (
                    (self.low[body] >= self.low[other]).all()
                    and (self.high[body] <= self.high[other]).all()
                    and all(self._winding(point, other) > 0 for point in points)
                ):
                    hollow[body] = True
                    break
        return hollow

    def _on(self, body: int) -> Floats:
        """Return some points of a body's facets, in none of the places where edges usually lie."""
        facets = self.facets[body]
        some = facets[np.unique(np.linspace(0, len(facets) - 1, _PROBES).astype(int))]
        corners = self.mesh.points_mm[self.mesh.facets[some]]
        points: Floats = np.einsum("fcx,c->fx", corners, _UNEVEN)
        return points

    def inside_out(self, hollows: Flags) -> Flags:
        """Return which bodies face inwards and are no hollow of another."""
        return (self.volume_mm3 < 0) & ~hollows

    def _winding(self, point: Floats, body: int) -> int:
        """Return how often a body goes round a point, by a ray straight up."""
        a, b, c = (
            self.mesh.points_mm[self.mesh.facets[self.facets[body], corner]] - point
            for corner in range(3)
        )
        ab = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
        bc = b[:, 0] * c[:, 1] - b[:, 1] * c[:, 0]
        ca = c[:, 0] * a[:, 1] - c[:, 1] * a[:, 0]
        over = ((ab > 0) & (bc > 0) & (ca > 0)) | ((ab < 0) & (bc < 0) & (ca < 0))
        a, b, c, ab, bc, ca = a[over], b[over], c[over], ab[over], bc[over], ca[over]
        height = (a[:, 2] * bc + b[:, 2] * ca + c[:, 2] * ab) / (ab + bc + ca)
        return int(np.sign((ab + bc + ca)[height > 0]).sum())

    def united(self, hollows: Flags) -> tuple[Mesh, list[str], str]:
        """Return the bodies as one surface, remarks, and why that failed if it did."""
        remarks = []
        if hollows.any():
            sealed = -float(self.volume_mm3[hollows].sum()) / 1000
            remarks.append(
                f"{counted(int(hollows.sum()), 'hollow')} of {sealed:.4g} cm3 sealed inside the "
                "pattern: resin cannot reach it, so it is left out."
            )
        outside = np.flatnonzero(~hollows)
        close = self._close(outside)
        apart = [body for body in outside.tolist() if body not in close]
        kept = np.concatenate([self.facets[body] for body in apart]) if apart else None
        pieces = [] if kept is None else [Mesh(self.mesh.points_mm, self.mesh.facets[kept])]
        if close:
            joined, refused = self._joined(sorted(close))
            if joined is None:
                return self.mesh, remarks, refused
            before = float(self.volume_mm3[sorted(close)].sum())
            shared = (before - joined.signed_volume_mm3()) / 1000
            if shared > 1e-6 * before / 1000:
                remarks.append(
                    f"{counted(len(close), 'body').replace('bodys', 'bodies')} overlap by "
                    f"{shared:.4g} cm3 and were united."
                )
            pieces.append(joined)
        if len(outside) > 1 and not any("united" in remark for remark in remarks):
            remarks.append(f"{len(outside)} separate bodies that do not overlap.")
        return _together(pieces), remarks, ""

    def _close(self, outside: NDArray[np.int64]) -> set[int]:
        """Return the bodies whose boxes meet another's."""
        found: set[int] = set()
        for nth, body in enumerate(outside.tolist()):
            others = outside[nth + 1 :]
            meets = (self.low[body] <= self.high[others]).all(axis=1) & (
                self.high[body] >= self.low[others]
            ).all(axis=1)
            if meets.any():
                found |= {body, *others[meets].tolist()}
        return found

    def _joined(self, bodies: list[int]) -> tuple[Mesh | None, str]:
        from manifold3d import Error, Manifold, Mesh64, OpType

        solids = []
        for body in bodies:
            used, facets = np.unique(
                self.mesh.facets[self.facets[body]].ravel(), return_inverse=True
            )
            solid = Manifold(
                Mesh64(
                    np.ascontiguousarray(self.mesh.points_mm[used]),
                    np.ascontiguousarray(facets.reshape(-1, 3).astype(np.uint64)),
                )
            )
            if solid.status() != Error.NoError:
                x, y, z = self._points(body).mean(axis=0)
                return None, (
                    f"The body round x {x:.1f}, y {y:.1f}, z {z:.1f} mm of the file meets itself "
                    "along an edge, so it cannot be united with the bodies it touches. Unite "
                    "them in the drawing program and export the pattern again."
                )
            solids.append(solid)
        out = Manifold.batch_boolean(solids, OpType.Add).to_mesh64()
        points = np.asarray(out.vert_properties)[:, :3].astype(np.float64)
        return Mesh(points, np.asarray(out.tri_verts).astype(np.int64)), ""


def _together(pieces: list[Mesh]) -> Mesh:
    """Return several meshes as one, without the points that no facet uses."""
    points, facets, first = [], [], 0
    for piece in pieces:
        used, numbered = np.unique(piece.facets.ravel(), return_inverse=True)
        points.append(piece.points_mm[used])
        facets.append(numbered.reshape(-1, 3).astype(np.int64) + first)
        first += len(used)
    return Mesh(np.concatenate(points), np.concatenate(facets))
