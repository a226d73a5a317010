"""
Is a pattern's mesh a solid? A volume means something only when it is.

A mesh is closed when every edge is run along as often one way as the other; then the sum of its
signed tetrahedra does not depend on the origin. Whether bodies overlap or facets cross each other
is looked for in `pattern_bodies`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.core.pattern.mesh import Ints, Mesh, counted

_FLAT = 1e-12
"""A facet thinner than this share of the square of the pattern's size has no area."""


@dataclass(frozen=True)
class Soundness:
    """What stands between a mesh and a solid. Counts are of edges, facets and bodies."""

    facets: int
    points: int
    bodies: int
    open_edges: int
    """Edges with a facet on one side only: the rim of a hole, or a gap."""
    turned_edges: int
    """Edges whose two facets face opposite ways: one of them is flipped."""
    crowded_edges: int
    """Edges shared by more than two facets."""
    flat_facets: int
    repeated_facets: int
    closed: bool
    inside_out: bool
    """Closed, but with negative volume: every facet faces inwards."""

    @property
    def solid(self) -> bool:
        """Closed, and facing outwards as a whole."""
        return self.closed and not self.inside_out

    def remarks(self) -> list[str]:
        """Return what is wrong or odd, one sentence each."""
        odd = [
            (self.open_edges, "open edge", "the surface has holes or gaps"),
            (self.turned_edges, "edge", "the two facets there face opposite ways"),
            (self.crowded_edges, "crowded edge", "more than two facets meet there"),
            (self.repeated_facets, "repeated facet", "the same facet is there twice"),
            (self.flat_facets, "facet", "without area, harmless"),
        ]
        said = [f"{counted(count, noun)}: {why}." for count, noun, why in odd if count]
        if not self.closed and not self.open_edges and not self.turned_edges:
            said.append("Some edges are run along more often one way than the other.")
        return said


@dataclass(frozen=True, eq=False)
class Edges:
    """Undirected edges: end points (e, 2), and how often each is run along up and down."""

    ends: Ints
    upward: Ints
    downward: Ints

    @property
    def open(self) -> NDArray[np.bool_]:
        single: NDArray[np.bool_] = self.upward + self.downward == 1
        return single


def _directed_keys(mesh: Mesh) -> NDArray[np.int64]:
    """Return one sorted number per facet side: twice the edge, plus one when run downwards."""
    starts = mesh.facets.ravel()
    ends = mesh.facets[:, [1, 2, 0]].ravel()
    keys = np.minimum(starts, ends) * np.int64(len(mesh.points_mm))
    keys += np.maximum(starts, ends)
    keys *= 2
    keys += starts > ends
    keys.sort()
    return keys


def edges_of(mesh: Mesh) -> Edges:
    """Return the edges of a mesh with their counts."""
    keys = _directed_keys(mesh)
    undirected = keys >> 1
    begins = np.flatnonzero(np.diff(undirected, prepend=-1))
    total = np.diff(begins, append=len(keys))
    down = np.add.reduceat(keys & 1, begins) if len(keys) else np.zeros(0, np.int64)
    edge = undirected[begins]
    count = np.int64(len(mesh.points_mm))
    return Edges(np.column_stack([edge // count, edge % count]), total - down, down)


def _all_paired(mesh: Mesh) -> bool:
    """Whether every edge has exactly two facets, one each way: the quick answer for most files."""
    keys = _directed_keys(mesh)
    if len(keys) % 2:
        return False
    up, down = keys[0::2], keys[1::2]
    return bool(np.array_equal(up + 1, down)) and not bool((up & 1).any())


def bodies_of(mesh: Mesh) -> tuple[int, NDArray[np.int32]]:
    """Return the number of separate bodies and the body of each point."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    count = len(mesh.points_mm)
    # two sides of a triangle tie its three corners together
    rows = np.concatenate([mesh.facets[:, 0], mesh.facets[:, 1]])
    columns = np.concatenate([mesh.facets[:, 1], mesh.facets[:, 2]])
    ties = coo_array((np.ones(len(rows), np.int8), (rows, columns)), shape=(count, count))
    found, labels = connected_components(ties, directed=False)
    used = np.unique(labels[mesh.facets[:, 0]])
    return len(used) if found else 0, labels


def parts_by_edges(mesh: Mesh) -> tuple[int, NDArray[np.int32]] | None:
    """
    Return the bodies of a closed mesh by edges with two facets, and the body of each facet.

    What touches in a corner or along an edge only is apart then. None where a part would not be
    closed by itself.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    starts, ends = mesh.facets.ravel(), mesh.facets[:, [1, 2, 0]].ravel()
    edge = np.minimum(starts, ends) * np.int64(len(mesh.points_mm)) + np.maximum(starts, ends)
    order = np.argsort(edge, kind="stable")
    edge, facet, upward = edge[order], order // 3, (starts < ends)[order]
    begins = np.flatnonzero(np.diff(edge, prepend=-1))
    sides = np.diff(begins, append=len(edge))
    paired = begins[sides == 2]
    count = len(mesh.facets)
    ties = coo_array(
        (np.ones(len(paired), np.int8), (facet[paired], facet[paired + 1])), shape=(count, count)
    )
    found, of_facet = connected_components(ties, directed=False)
    crowded = np.repeat(sides != 2, sides)
    rows = np.column_stack([of_facet[facet[crowded]], edge[crowded]])
    _, group = np.unique(rows, axis=0, return_inverse=True)
    run = np.bincount(group.ravel(), np.where(upward[crowded], 1.0, -1.0))
    return None if run.any() else (found, of_facet)


def repeated_rows(facets: Ints) -> NDArray[np.bool_]:
    """Return which facets have the same three corners, in the same turning, as an earlier one."""
    least = facets.argmin(axis=1)[:, None]
    turned = np.take_along_axis(facets, (least + np.arange(3)) % 3, axis=1)
    order = np.lexsort((turned[:, 2], turned[:, 1], turned[:, 0]))
    same = np.zeros(len(facets), bool)
    same[order[1:]] = (turned[order[1:]] == turned[order[:-1]]).all(axis=1)
    return same


def inspect(mesh: Mesh) -> Soundness:
    """
    Return whether a mesh is a solid and what is wrong with it.

    Parameters
    ----------
    mesh : Mesh
        Welded, so that facets share corners.
    """
    areas = np.linalg.norm(mesh.area_vectors(), axis=1)
    flat = int(np.count_nonzero(areas <= _FLAT * max(mesh.size_mm) ** 2))
    bodies, _ = bodies_of(mesh)
    if _all_paired(mesh):
        inside_out = mesh.signed_volume_mm3() < 0
        return Soundness(
            len(mesh.facets), len(mesh.points_mm), bodies, 0, 0, 0, flat, 0, True, inside_out
        )
    edges = edges_of(mesh)
    total = edges.upward + edges.downward
    real = (
        edges.ends[:, 0] != edges.ends[:, 1]
    )  # a facet with a corner named twice has a false one
    closed = bool((edges.upward == edges.downward)[real].all())
    return Soundness(
        facets=len(mesh.facets),
        points=len(mesh.points_mm),
        bodies=bodies,
        open_edges=int(np.count_nonzero(edges.open & real)),
        turned_edges=int(np.count_nonzero((total == 2) & (edges.upward != 1) & real)),
        crowded_edges=int(np.count_nonzero((total > 2) & real)),
        flat_facets=flat,
        repeated_facets=int(np.count_nonzero(repeated_rows(mesh.facets))),
        closed=closed,
        inside_out=closed and mesh.signed_volume_mm3() < 0,
    )
