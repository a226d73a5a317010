"""
Volume of patterns of several bodies, hollow, overlapping, self-crossing or inside out.

Expected volumes are closed forms of boxes, prisms and spherical caps; a union of two tessellated
balls is compared with the cap formula (two spherical caps of height r - d/2, elementary geometry).
"""

import math

import numpy as np
import pytest

from planning.core.pattern.bodies import counted_twice, outer_body
from planning.core.pattern.examine import NO_VOLUME, Setup, examine
from planning.core.pattern.mesh import Mesh, weld
from tests.planning.core.pattern.meshes import box_mesh, frustum_mesh, sphere_mesh

BLOCK_MM3 = 200 * 150 * 80


def together(*meshes):
    points, facets, count = [], [], 0
    for mesh in meshes:
        points.append(mesh.points_mm)
        facets.append(mesh.facets + count)
        count += len(mesh.points_mm)
    return Mesh(np.concatenate(points), np.concatenate(facets))


def moved(mesh, *by):
    return Mesh(mesh.points_mm + np.array(by, float), mesh.facets)


def turned_inside_out(mesh):
    return Mesh(mesh.points_mm, mesh.facets[:, ::-1])


def turned(mesh, angle):
    c, s = math.cos(angle), math.sin(angle)
    return Mesh(mesh.points_mm @ np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]]), mesh.facets)


def hollow_block():
    """Return a printed block of 200 x 150 x 80 mm with a wall of 3 mm all round."""
    inner = moved(box_mesh(194, 144, 74), 3, 3, 3)
    return together(box_mesh(200, 150, 80), turned_inside_out(inner))


def boss(sides=64, sunk=10.0):
    """Return a plate with a boss of 40 mm sunk into it, and the volume of both together."""
    pin = moved(frustum_mesh(sides, 20, 20, 40), 100, 75, 80 - sunk)
    area = sides / 2 * 20**2 * math.sin(2 * math.pi / sides)
    return together(box_mesh(200, 150, 80), pin), BLOCK_MM3 + area * (40 - sunk)


def tube(turns, pitch_mm=0.0, rings=200, sides=24):
    """Return a tube of 30 mm bent into a ring of 60 mm radius, going round so many times."""
    u, v = np.meshgrid(
        np.linspace(0, 2 * np.pi * turns, rings),
        np.linspace(0, 2 * np.pi, sides, endpoint=False),
        indexing="ij",
    )
    reach = 60 + 15 * np.cos(v)
    points = np.stack(
        [reach * np.cos(u), reach * np.sin(u), 15 * np.sin(v) + pitch_mm * u], -1
    ).reshape(-1, 3)
    grid = np.arange(rings * sides).reshape(rings, sides)
    here, on = grid[:-1], grid[1:]
    facets = [
        np.stack([here, on, np.roll(on, -1, 1)], -1).reshape(-1, 3),
        np.stack([here, np.roll(on, -1, 1), np.roll(here, -1, 1)], -1).reshape(-1, 3),
    ]
    ends = len(points) + np.arange(2)
    points = np.vstack([points, points[grid[0]].mean(0), points[grid[-1]].mean(0)])
    facets += [
        np.stack([np.full(sides, ends[0]), grid[0], np.roll(grid[0], -1)], -1),
        np.stack([np.full(sides, ends[1]), np.roll(grid[-1], -1), grid[-1]], -1),
    ]
    return Mesh(points, np.concatenate(facets))


def bow_tie():
    """Return a prism whose outline crosses itself in (50, 30): closed, but no body."""
    outline = np.array([(0, 0), (100, 60), (100, 0), (0, 60)], float)
    points = np.vstack([np.c_[outline, np.zeros(4)], np.c_[outline, np.full(4, 50.0)]])
    sides = [(i, (i + 1) % 4) for i in range(4)]
    facets = [(i, j, j + 4) for i, j in sides] + [(i, j + 4, i + 4) for i, j in sides]
    facets += [(0, 2, 1), (4, 5, 6), (0, 3, 2), (4, 6, 7)]
    return Mesh(points, np.array(facets))


def test_resin_cannot_reach_a_sealed_hollow():
    found = outer_body(hollow_block())
    assert not found.refused
    assert found.mesh.signed_volume_mm3() == pytest.approx(BLOCK_MM3, rel=1e-12)
    assert found.remarks == (
        "1 hollow of 2067 cm3 sealed inside the pattern: resin cannot reach it, so it is left "
        "out.",
    )


def test_a_hollow_block_is_cast_and_drafted_like_a_full_one():
    hollow = examine(hollow_block(), Setup()).report
    full = examine(box_mesh(200, 150, 80), Setup()).report
    assert hollow.solid
    assert hollow.halves == full.halves
    assert hollow.undercut_count == 0
    assert any("sealed inside" in remark for remark in hollow.remarks)


@pytest.mark.parametrize("angle", [0.0, 0.3, math.pi / 4])
def test_a_sunk_boss_counts_once(angle):
    mesh, volume = boss()
    found = outer_body(turned(mesh, angle))
    assert found.mesh.signed_volume_mm3() == pytest.approx(volume, rel=1e-9)
    assert found.remarks == ("2 bodies overlap by 12.55 cm3 and were united.",)
    assert counted_twice(found.mesh).share == 0.0


def test_two_balls_united_hold_the_volume_of_the_cap_formula():
    radius, apart = 50.0, 60.0
    ball = sphere_mesh(radius, 6)
    found = outer_body(together(ball, moved(ball, apart, 7.0, 5.0)))
    distance = math.sqrt(apart**2 + 7.0**2 + 5.0**2)
    cap = radius - distance / 2
    lens = 2 * math.pi * cap**2 * (3 * radius - cap) / 3
    expected = 2 * 4 / 3 * math.pi * radius**3 - lens
    assert found.mesh.signed_volume_mm3() == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(
    ("mesh", "volume"),
    [
        (together(box_mesh(200, 150, 80), moved(box_mesh(50, 50, 50), 20, 20, 20)), BLOCK_MM3),
        (together(hollow_block(), moved(box_mesh(50, 50, 50), 20, 20, 20)), BLOCK_MM3),
        (together(box_mesh(9, 9, 9), moved(box_mesh(9, 9, 9), 20, 0, 0)), 2 * 729),
        (together(box_mesh(9, 9, 9), moved(box_mesh(9, 9, 9), 9, 0, 0)), 2 * 729),
        (together(box_mesh(9, 9, 9), moved(box_mesh(9, 9, 9), 0, 0, 9)), 2 * 729),
        (tube(2.5, pitch_mm=6.0), None),
        (sphere_mesh(50, 4), None),
    ],
    ids=["inner", "loose in a hollow", "apart", "side by side", "on top", "spring", "ball"],
)  # fmt: skip
def test_bodies_count_once(mesh, volume):
    found = outer_body(mesh)
    assert not found.refused
    expected = mesh.signed_volume_mm3() if volume is None else volume
    assert found.mesh.signed_volume_mm3() == pytest.approx(expected, rel=1e-9)


def test_blocks_that_share_corners_after_welding_are_taken():
    two = together(box_mesh(9, 9, 9), moved(box_mesh(9, 9, 9), 0, 0, 9))
    found = outer_body(weld(two.points_mm, two.facets))
    assert not found.refused
    assert found.mesh.signed_volume_mm3() == pytest.approx(2 * 729, rel=1e-9)


@pytest.mark.parametrize(
    ("mesh", "near"),
    [(bow_tie(), "z 25.0"), (tube(1.1), "z 0.0"), (tube(1.002), "z 0.0")],
    ids=["bow tie", "ring too long", "ring a little too long"],
)
def test_a_surface_that_crosses_itself_is_refused_with_the_place(mesh, near):
    found = outer_body(mesh)
    assert found.refused.startswith("The surface crosses itself near x ")
    assert near in found.refused
    report = examine(mesh, Setup()).report
    assert not report.solid
    assert report.volume_l is None
    assert found.refused in report.remarks
    assert report.halves[0].refused == found.refused


def test_the_place_named_lies_where_the_surface_crosses_itself():
    x, y, _ = counted_twice(tube(1.1)).at_mm
    assert 45 <= math.hypot(x, y) <= 75
    assert 0 <= math.degrees(math.atan2(y, x)) <= 36


def test_a_small_overlap_is_measured():
    """A tenth of a turn of the ring is there twice: 26.3 of 263.4 cm3 by its 24-sided section."""
    section = 12 * 15**2 * math.sin(2 * math.pi / 24)
    expected = section * 60 * 2 * math.pi * 0.1
    assert counted_twice(tube(1.1)).volume_mm3 == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("mesh", [box_mesh(20, 15, 8), sphere_mesh(50, 4)], ids=["box", "ball"])
def test_a_body_inside_out_says_so_and_is_turned_on_request(mesh):
    wrong = turned_inside_out(mesh)
    said = examine(wrong, Setup()).report
    assert not said.solid
    assert any(remark.startswith("The surface is inside out") for remark in said.remarks)
    assert NO_VOLUME not in said.remarks
    mended = examine(wrong, Setup(repair=True)).report
    assert mended.volume_l == pytest.approx(mesh.signed_volume_mm3() / 1e6, rel=1e-9)


def test_one_of_two_bodies_inside_out_is_no_hollow():
    mesh = together(box_mesh(20, 15, 8), turned_inside_out(moved(box_mesh(10, 10, 10), 300, 0, 0)))
    said = examine(mesh, Setup()).report
    assert not said.solid
    assert "1 of 2 bodies are inside out" in " ".join(said.remarks)
    assert examine(mesh, Setup(repair=True)).report.volume_l == pytest.approx(3.4e-3, rel=1e-9)


def test_a_body_crowded_along_an_edge_is_united_all_the_same():
    """Two wedges of 500 mm3 meet along one edge; a box from (1, 1) to (7, 7) is sunk into one."""
    wedge = Mesh(
        np.array([(0, 0, 0), (10, 0, 0), (0, 10, 0), (0, 0, 10), (10, 0, 10), (0, 10, 10)], float),
        np.array([(0, 2, 1), (3, 4, 5), (0, 1, 4), (0, 4, 3), (1, 2, 5), (1, 5, 4), (2, 0, 3),
                  (2, 3, 5)]),
    )  # fmt: skip
    both = together(wedge, Mesh(wedge.points_mm * [-1, -1, 1], wedge.facets))
    crowded = weld(both.points_mm, both.facets)
    sunk = moved(box_mesh(6, 6, 6), 1, 1, 2)
    found = outer_body(together(crowded, sunk))
    assert not found.refused
    outside = (7 + 7 - 10) ** 2 / 2 * 6  # the corner of the box beyond x + y = 10
    assert found.mesh.signed_volume_mm3() == pytest.approx(2 * 500 + outside, rel=1e-9)
