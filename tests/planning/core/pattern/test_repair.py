"""What is wrong with a mesh is found, and mended only where the shape is not in doubt."""

import numpy as np
import pytest

from planning.core.pattern.mesh import Mesh, weld
from planning.core.pattern.repair import mend
from planning.core.pattern.sound import edges_of, inspect
from tests.planning.core.pattern.meshes import box_mesh, dovetail_mesh, frustum_mesh, sphere_mesh

DOVETAIL = dovetail_mesh()


def without(mesh, *facets):
    return Mesh(mesh.points_mm, np.delete(mesh.facets, facets, axis=0))


def turned(mesh, *which):
    facets = mesh.facets.copy()
    facets[list(which)] = facets[list(which)][:, ::-1]
    return Mesh(mesh.points_mm, facets)


def together(*meshes):
    offsets = np.cumsum([0] + [len(mesh.points_mm) for mesh in meshes])
    facets = [mesh.facets + offset for mesh, offset in zip(meshes, offsets, strict=False)]
    return Mesh(np.vstack([mesh.points_mm for mesh in meshes]), np.vstack(facets))


def moved(mesh, by):
    return Mesh(mesh.points_mm + np.asarray(by, dtype=float), mesh.facets)


@pytest.mark.parametrize(
    "mesh", [box_mesh(3, 2, 1), DOVETAIL, sphere_mesh(), frustum_mesh(24, 30, 20, 40)]
)
def test_a_good_solid_has_no_remarks_and_nothing_to_mend(mesh):
    """The number of edges of a closed surface without handles is Euler's: V - E + F = 2."""
    found = inspect(mesh)
    assert found.solid
    assert found.remarks() == []
    assert found.points - len(edges_of(mesh).ends) + found.facets == 2
    assert mend(mesh).done == ()


BROKEN = [
    pytest.param(
        without(DOVETAIL, 0),
        "hole",
        3,
        "1 hole with 3 edges closed by 1 flat facet",
        id="one facet",
    ),
    pytest.param(
        without(frustum_mesh(24, 30, 30, 40), *range(72, 96)),
        "hole",
        24,
        "1 hole with 24 edges closed by 22 flat facets of 2795 mm2",
        id="whole top",
    ),
    pytest.param(
        without(frustum_mesh(24, 30, 30, 40), 72, 80),
        "hole",
        6,
        "2 holes with 6 edges",
        id="two holes touching",
    ),
]


@pytest.mark.parametrize(("mesh", "word", "edges", "said"), BROKEN)
def test_a_flat_hole_is_closed_to_the_volume_it_had(mesh, word, edges, said):
    """Against trimesh: the mended mesh is watertight there too and has the same volume."""
    import trimesh

    found = inspect(mesh)
    assert found.open_edges == edges
    assert not found.solid
    assert any(word in remark for remark in found.remarks())
    mended = mend(mesh)
    assert mended.soundness.solid
    assert said in " ".join(mended.done)
    other = trimesh.Trimesh(mended.mesh.points_mm, mended.mesh.facets, process=False)
    assert other.is_watertight
    assert other.is_winding_consistent
    assert mended.mesh.signed_volume_mm3() == pytest.approx(other.volume, rel=1e-9)


def test_closing_a_flat_hole_gives_the_true_volume_back():
    prism = frustum_mesh(24, 30, 30, 40)
    mended = mend(without(prism, *range(72, 96)))
    assert mended.mesh.signed_volume_mm3() == pytest.approx(prism.signed_volume_mm3(), rel=1e-12)


def test_an_l_shaped_hole_is_patched_without_overlap():
    """The groove's end is not convex: ears, not a fan, and the area is the outline's."""
    vectors = DOVETAIL.area_vectors()
    end = np.flatnonzero(vectors[:, 1] > 1e-9)
    mended = mend(without(DOVETAIL, *end.tolist()))
    assert mended.soundness.solid
    added = mended.mesh.area_vectors()[len(DOVETAIL.facets) - len(end) :]
    outline = 200 * 60 - (50 + 80) / 2 * 30
    assert np.linalg.norm(added, axis=1).sum() == pytest.approx(outline, rel=1e-9)


def test_flipped_facets_are_found_and_turned_round():
    flipped = turned(DOVETAIL, 3, 10, 11)
    found = inspect(flipped)
    assert found.turned_edges > 0
    assert not found.closed
    mended = mend(flipped)
    assert mended.soundness.solid
    assert mended.done == ("3 flipped facets turned round.",)
    assert mended.mesh.signed_volume_mm3() == pytest.approx(DOVETAIL.signed_volume_mm3())


def test_a_body_inside_out_is_turned_and_a_hollow_is_left():
    hollow = together(
        box_mesh(50, 50, 50), moved(turned(box_mesh(10, 10, 10), *range(12)), [20] * 3)
    )
    assert inspect(hollow).bodies == 2
    assert mend(hollow).done == ()
    assert hollow.signed_volume_mm3() == pytest.approx(50**3 - 10**3)
    beside = together(
        box_mesh(50, 50, 50), moved(turned(box_mesh(10, 10, 10), *range(12)), [70] * 3)
    )
    mended = mend(beside)
    assert mended.done == ("1 of 2 bodies were inside out and turned to face outwards.",)
    assert mended.mesh.signed_volume_mm3() == pytest.approx(50**3 + 10**3)


def test_corners_a_hair_apart_are_joined():
    box = box_mesh(300, 200, 120)
    soup = box.points_mm[box.facets].reshape(-1, 3)
    jitter = np.random.default_rng(1).uniform(-5e-5, 5e-5, soup.shape)
    gaps = weld(soup + jitter)
    assert inspect(gaps).open_edges == 36
    mended = mend(gaps)
    assert mended.soundness.solid
    assert "28 corners at open edges joined" in mended.done[0]
    assert mended.mesh.signed_volume_mm3() == pytest.approx(7.2e6, rel=1e-5)


def test_repeated_and_collapsed_facets_are_left_out():
    box = box_mesh(30, 20, 10)
    facets = np.vstack([box.facets, box.facets[:2], [[3, 3, 5]]])
    spoiled = Mesh(box.points_mm, facets)
    assert inspect(spoiled).repeated_facets == 2
    mended = mend(spoiled)
    assert mended.soundness.solid
    assert mended.done == (
        "1 facet without three corners left out.",
        "2 repeated facets left out.",
    )


def test_a_one_sided_surface_stays_refused():
    """A Moebius band cannot be turned consistently; nothing may claim it was."""
    count = 40
    turn = 2 * np.pi * np.arange(count) / count
    rows = []
    for side in (-1, 1):
        reach = 30 + side * 8 * np.cos(turn / 2)
        rows.append(
            np.column_stack(
                [reach * np.cos(turn), reach * np.sin(turn), side * 8 * np.sin(turn / 2)]
            )
        )
    points = np.vstack(rows)
    facets = []
    for i in range(count):
        a, b = i, i + count
        c, d = (i + 1, i + 1 + count) if i + 1 < count else (count, 0)
        facets += [(a, c, d), (a, d, b)]
    mended = mend(Mesh(points, np.array(facets)))
    assert not mended.soundness.solid


def test_two_bodies_touching_along_an_edge_are_still_closed():
    both = together(box_mesh(10, 10, 10), moved(box_mesh(10, 10, 10), [10, 10, 0]))
    touching = weld(both.points_mm, both.facets)
    found = inspect(touching)
    assert found.closed
    assert found.crowded_edges == 1
    assert touching.signed_volume_mm3() == pytest.approx(2000)


def test_loose_facets_are_left_loose():
    """A quarter of a million open edges are no surface with gaps; nothing is guessed."""
    count = 85_000
    base = np.arange(count) * 2.0
    corners = np.zeros((count, 3, 3))
    corners[:, :, 0] = base[:, None] + [0, 1, 0]
    corners[:, 2, 1] = 1
    mended = mend(weld(corners.reshape(-1, 3)))
    assert mended.done == ()
    assert not mended.soundness.closed
