"""
Mending a pattern's mesh where that can be done without guessing at its shape.

Corners a hair apart are joined, repeated facets left out, facets turned to face outwards and
holes closed with flat patches. Each step is told in a sentence with its figures: whoever casts
from a mended mesh has seen what was mended.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planning.core.pattern.bodies import Bodies
from planning.core.pattern.mesh import Ints, Mesh, counted
from planning.core.pattern.sound import (
    Soundness,
    bodies_of,
    edges_of,
    inspect,
    parts_by_edges,
    repeated_rows,
)

JOIN_SHARE = 1e-6
"""Corners at open edges are joined when closer than this share of the pattern's longest side."""
MOST_OPEN_EDGES = 200_000
"""With more open edges than this the file is loose facets, not a surface with gaps."""
MOST_HOLES = 200
LONGEST_RIM = 2000
"""Holes with more edges round them are left open: a missing side is not a hole to patch."""


@dataclass(frozen=True, eq=False)
class Mended:
    """The mesh after repair, what was done to it, and what it is now."""

    mesh: Mesh
    done: tuple[str, ...]
    soundness: Soundness


def mend(mesh: Mesh) -> Mended:
    """
    Return a mesh repaired as far as it goes, with a sentence for each thing done.

    The result may still not be closed; `Mended.soundness` says.
    """
    done: list[str] = []
    for step in (_join_gaps, _drop_useless, _turn_alike, _close_holes, _turn_outwards):
        mesh, said = step(mesh)
        done += said
    return Mended(mesh, tuple(done), inspect(mesh))


def _join_gaps(mesh: Mesh) -> tuple[Mesh, list[str]]:
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    edges = edges_of(mesh)
    rim = np.unique(edges.ends[edges.open])
    if len(rim) > MOST_OPEN_EDGES:
        return mesh, []
    within_mm = JOIN_SHARE * max(mesh.size_mm)
    pairs = (
        cKDTree(mesh.points_mm[rim]).query_pairs(within_mm, output_type="ndarray")
        if len(rim)
        else np.zeros((0, 2), int)
    )
    if len(pairs) == 0:
        return mesh, []
    ties = coo_array((np.ones(len(pairs)), pairs.T), shape=(len(rim), len(rim)))
    _, groups = connected_components(ties, directed=False)
    _, first = np.unique(groups, return_index=True)
    target = np.arange(len(mesh.points_mm))
    target[rim] = rim[first[groups]]
    joined = int(np.count_nonzero(target != np.arange(len(target))))
    said = (
        f"{counted(joined, 'corner')} at open edges joined to another within {within_mm:.2g} mm."
    )
    return Mesh(mesh.points_mm, target[mesh.facets]), [said]


def _drop_useless(mesh: Mesh) -> tuple[Mesh, list[str]]:
    facets = mesh.facets
    distinct = (
        (facets[:, 0] != facets[:, 1])
        & (facets[:, 1] != facets[:, 2])
        & (facets[:, 2] != facets[:, 0])
    )
    said = []
    if not distinct.all():
        facets = facets[distinct]
        said.append(f"{counted(int((~distinct).sum()), 'facet')} without three corners left out.")
    repeated = repeated_rows(facets)
    if repeated.any():
        facets = facets[~repeated]
        said.append(f"{counted(int(repeated.sum()), 'repeated facet')} left out.")
    return Mesh(mesh.points_mm, facets), said


def _neighbours(facets: Ints, points: int) -> tuple[Ints, Ints, Ints]:
    """Return pairs of facets that share an edge only the two have, and 1 where they disagree."""
    starts, ends = facets.ravel(), facets[:, [1, 2, 0]].ravel()
    keys = np.minimum(starts, ends) * np.int64(points) + np.maximum(starts, ends)
    order = np.argsort(keys, kind="stable")
    ordered = keys[order]
    begins = np.flatnonzero(np.diff(ordered, prepend=-1))
    pair = begins[np.diff(begins, append=len(ordered)) == 2]
    one, other = order[pair], order[pair + 1]
    alike = (starts[one] > ends[one]) == (starts[other] > ends[other])
    return one // 3, other // 3, alike.astype(np.int64)


def _turn_alike(mesh: Mesh) -> tuple[Mesh, list[str]]:
    """
    Turn facets so that neighbours agree, by the fewest turns in each body.

    Every facet stands twice in a graph, as it is and turned; neighbours that agree tie equals
    to equals, others crosswise. The connected half is a consistent choice; if a facet ends up in
    one piece with its own turned self, the surface is one-sided and is left as it is.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    count = len(mesh.facets)
    one, other, disagree = _neighbours(mesh.facets, len(mesh.points_mm))
    if not disagree.any():
        return mesh, []
    rows = np.concatenate([one, one + count])
    columns = np.concatenate([other + count * disagree, other + count * (1 - disagree)])
    ties = coo_array((np.ones(len(rows), np.int8), (rows, columns)), shape=(2 * count, 2 * count))
    _, labels = connected_components(ties, directed=False)
    as_is, turned = labels[:count], labels[count:]
    sizes = np.zeros(labels.max() + 1, np.int64)
    np.add.at(sizes, as_is, 1)
    turn = (sizes[as_is] < sizes[turned]) | ((sizes[as_is] == sizes[turned]) & (as_is > turned))
    turn &= as_is != turned
    if not turn.any():
        return mesh, []
    facets = mesh.facets.copy()
    facets[turn] = facets[turn][:, ::-1]
    return Mesh(mesh.points_mm, facets), [
        f"{counted(int(turn.sum()), 'flipped facet')} turned round."
    ]


def _rims(mesh: Mesh) -> list[list[int]]:
    """Return closed rims of holes, each run the way a patch must run."""
    starts, ends = mesh.facets.ravel(), mesh.facets[:, [1, 2, 0]].ravel()
    count = np.int64(len(mesh.points_mm))
    forward, backward = starts * count + ends, ends * count + starts
    if len(np.unique(forward)) < len(forward):
        return []  # an edge run twice the same way has no inside: nothing to patch with sense
    lonely = ~np.isin(backward, forward)
    if np.count_nonzero(lonely) > MOST_OPEN_EDGES:
        return []
    # a patch runs along the rim against the facets beside it
    following: dict[int, list[int]] = {}
    for start, end in zip(ends[lonely].tolist(), starts[lonely].tolist(), strict=True):
        following.setdefault(start, []).append(end)
    rims: list[list[int]] = []
    while following and len(rims) < MOST_HOLES:
        rims += _walk(following)
    return [rim for rim in rims if 3 <= len(rim) <= LONGEST_RIM]


def _walk(following: dict[int, list[int]]) -> list[list[int]]:
    """Walk along rim edges, using each up, and return every ring that closes on the way."""
    path = [next(iter(following))]
    place = {path[0]: 0}
    rings = []
    while path[-1] in following:
        ways = following[path[-1]]
        at = ways.pop()
        if not ways:
            del following[path[-1]]
        if at in place:
            # holes may touch in a corner: each ring is cut out where it meets itself
            ring = path[place[at] :]
            rings.append(ring)
            path = path[: place[at] + 1]
            for corner in ring[1:]:
                del place[corner]
        else:
            place[at] = len(path)
            path.append(at)
    return rings


def _patch(points: np.ndarray, rim: list[int]) -> list[list[int]]:
    """Return facets across a rim: cut by ears on its best plane, or as a fan if that fails."""
    from mapbox_earcut import triangulate_float64

    middle = points[rim].mean(axis=0)
    spokes = points[rim] - middle
    across = np.cross(spokes, np.roll(spokes, -1, axis=0)).sum(axis=0)
    length = np.linalg.norm(across)
    if length > 0:
        up = across / length
        _, _, axes = np.linalg.svd(np.eye(3) - np.outer(up, up))
        u = axes[0]
        flat = np.column_stack([spokes @ u, spokes @ np.cross(up, u)])
        ears = triangulate_float64(flat, np.array([len(rim)], np.uint32)).reshape(-1, 3)
        if len(ears) == len(rim) - 2:
            return [_facing(flat, ear, rim) for ear in ears.tolist()]
    return [[rim[0], rim[i], rim[i + 1]] for i in range(1, len(rim) - 1)]


def _facing(flat: np.ndarray, ear: list[int], rim: list[int]) -> list[int]:
    (ax, ay), (bx, by), (cx, cy) = flat[ear]
    clockwise = (bx - ax) * (cy - ay) < (cx - ax) * (by - ay)
    return [rim[place] for place in (ear[::-1] if clockwise else ear)]


def _close_holes(mesh: Mesh) -> tuple[Mesh, list[str]]:
    rims = _rims(mesh)
    if not rims:
        return mesh, []
    patches = [_patch(mesh.points_mm, rim) for rim in rims]
    added = np.array([facet for patch in patches for facet in patch], dtype=np.int64)
    area = float(np.linalg.norm(Mesh(mesh.points_mm, added).area_vectors(), axis=1).sum())
    edges = sum(len(rim) for rim in rims)
    said = (
        f"{counted(len(rims), 'hole')} with {counted(edges, 'edge')} closed by "
        f"{counted(len(added), 'flat facet')} of {area:.4g} mm2 together. "
        "Check that the pattern is meant to be closed there."
    )
    return Mesh(mesh.points_mm, np.vstack([mesh.facets, added])), [said]


def _turn_outwards(mesh: Mesh) -> tuple[Mesh, list[str]]:
    """Turn bodies that are inside out, but not the hollow inside another body."""
    count, of_point = bodies_of(mesh)
    count, of_facet = parts_by_edges(mesh) or (count, of_point[mesh.facets[:, 0]])
    if count > LONGEST_RIM:
        return mesh, []  # thousands of scraps are no bodies whose sides could be told
    bodies = Bodies(mesh, of_facet)
    turned = bodies.inside_out(bodies.hollows())
    if not turned.any():
        return mesh, []
    facets = mesh.facets.copy()
    wrong = turned[bodies.of_facet]
    facets[wrong] = facets[wrong][:, ::-1]
    whole = "The body was" if count == 1 else f"{int(turned.sum())} of {count} bodies were"
    return Mesh(mesh.points_mm, facets), [f"{whole} inside out and turned to face outwards."]
