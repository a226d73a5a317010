"""Draft, undercut and trapped areas against closed forms and the tabled rows."""

import math

import numpy as np
import pytest

from planning.core.casting.geometry import BadGeometry
from planning.core.pattern.draft import (
    A_SIDE,
    B_SIDE,
    classify,
    draft_deg,
    examine_surface,
    undercut_patches,
)
from planning.core.pattern.mesh import Mesh, lay_down
from planning.core.pattern.raster import Overhang, trapped_mm2
from tests.planning.core.pattern.meshes import box_mesh, dovetail_mesh, frustum_mesh, sphere_mesh
from tests.reference_cases import params

FILE = "planning_checks.csv"


@pytest.mark.parametrize("tabled", params("physics_checks.csv", "P107", "P108", "P109", "P110"))
def test_tabled_draft(tabled):
    tabled.near(draft_deg(tabled.inputs["normal"], tabled.inputs["pull"])[0])


@pytest.mark.parametrize("tabled", params(FILE, "draft_frustum"))
def test_tabled_draft_of_a_frustum_side(tabled):
    given = tabled.inputs
    mesh = frustum_mesh(given["sides"], given["r_bottom"], given["r_top"], given["height"])
    for side in draft_deg(mesh.area_vectors()[: 2 * given["sides"]]):
        tabled.near(side)


@pytest.mark.parametrize("tabled", params(FILE, "draft_cone"))
def test_tabled_draft_of_a_cone_is_the_limit_of_many_sides(tabled):
    given = tabled.inputs
    exact = math.degrees(math.atan((given["r_bottom"] - given["r_top"]) / given["height"]))
    tabled.near(exact)
    mesh = frustum_mesh(20_000, given["r_bottom"], given["r_top"], given["height"])
    assert draft_deg(mesh.area_vectors()[:1])[0] == pytest.approx(exact, rel=1e-6)


def test_draft_classes_include_their_ends():
    drafts = np.array([-90, -0.02, 0, 0.02, 2.98, 3, 5, 5.02, 84.9, 85, 90])
    assert classify(drafts).tolist() == [0, 0, 1, 2, 2, 3, 3, 4, 4, 5, 5]


def side_area(sides, r_bottom, r_top, height):
    """Flat sides of an n-gon frustum: trapezia, their slant height from the apothems."""
    apothem, edge = math.cos(math.pi / sides), 2 * math.sin(math.pi / sides)
    slant = math.hypot(height, (r_bottom - r_top) * apothem)
    return sides * slant * edge * (r_bottom + r_top) / 2


def polygon_area(sides, radius):
    return sides / 2 * radius**2 * math.sin(2 * math.pi / sides)


@pytest.mark.parametrize(
    ("r_bottom", "r_top", "height", "kind"),
    [
        pytest.param(80, 60, 150, "above_band", id="7.6 degrees"),
        pytest.param(80, 70, 150, "in_band", id="3.8 degrees"),
        pytest.param(80, 76, 150, "below_band", id="1.5 degrees"),
        pytest.param(80, 80, 150, "upright", id="cylinder"),
        pytest.param(60, 80, 150, "undercut", id="standing on its small end"),
    ],
)
def test_areas_of_a_cone_frustum_by_draft(r_bottom, r_top, height, kind):
    surface = examine_surface(lay_down(frustum_mesh(48, r_bottom, r_top, height)))
    areas = surface.by_class(A_SIDE)
    assert areas.pop(kind) == pytest.approx(side_area(48, r_bottom, r_top, height), rel=1e-6)
    assert areas.pop("square") == pytest.approx(polygon_area(48, r_top), rel=1e-6)
    assert set(areas.values()) == {0.0}
    assert surface.resting.sum() == 48


def test_a_box_has_upright_walls_a_square_top_and_rests_on_its_bottom():
    surface = examine_surface(box_mesh(300, 200, 120))
    areas = surface.by_class(A_SIDE)
    assert areas["upright"] == pytest.approx(2 * (300 + 200) * 120, rel=1e-12)
    assert areas["square"] == pytest.approx(300 * 200, rel=1e-12)
    assert surface.wetted_mm2(A_SIDE) == pytest.approx(300 * 200 + 2 * 500 * 120, rel=1e-12)
    assert surface.wetted_mm2(B_SIDE) == 0
    assert undercut_patches(box_mesh(300, 200, 120), surface) == (0, [])


def test_a_dovetail_locks_by_its_two_leaning_walls():
    mesh = lay_down(dovetail_mesh(length=140))
    surface = examine_surface(mesh)
    wall = math.hypot(15, 30) * 140
    assert surface.undercut_mm2(A_SIDE) == pytest.approx(2 * wall, rel=1e-6)
    count, patches = undercut_patches(mesh, surface)
    assert count == 2
    for patch, low in zip(sorted(patches, key=lambda p: p.from_mm), (60, 125), strict=True):
        assert patch.area_mm2 == pytest.approx(wall, rel=1e-6)
        assert patch.from_mm == pytest.approx((low, 0, 30), abs=1e-9)
        assert patch.to_mm == pytest.approx((low + 15, 140, 60), abs=1e-9)
        assert patch.worst_deg == pytest.approx(-math.degrees(math.atan(0.5)), rel=1e-9)


def test_a_dovetail_pulled_along_its_groove_does_not_lock():
    surface = examine_surface(lay_down(dovetail_mesh(length=140), "+y"))
    assert surface.undercut_mm2(A_SIDE) == 0


def trapped(mesh, surface, upwards=True):
    areas = surface.a_mm2 if upwards else surface.b_mm2
    overhang = Overhang(mesh, downwards=not upwards)
    return trapped_mm2(overhang, mesh, surface.area_vectors, areas, upwards), overhang.step_mm


def test_floor_under_the_dovetail_is_found_and_never_overstated():
    mesh = lay_down(dovetail_mesh(length=140))
    found, step = trapped(mesh, examine_surface(mesh))
    true = 2 * 15 * 140
    assert true - 2 * 140 * 2.5 * step <= found <= true


@pytest.mark.parametrize(
    "mesh",
    [box_mesh(300, 200, 120), frustum_mesh(48, 80, 60, 150), frustum_mesh(7, 80, 79, 150)],
    ids=["box", "frustum", "steep frustum"],
)
def test_nothing_is_trapped_on_a_shape_that_leaves_freely(mesh):
    lying = lay_down(mesh)
    assert trapped(lying, examine_surface(lying))[0] == 0


def test_a_ball_parted_at_its_equator_has_no_undercut_and_two_equal_halves():
    mesh = lay_down(sphere_mesh(50, 4))
    surface = examine_surface(mesh, parting_mm=50)
    total = np.linalg.norm(mesh.area_vectors(), axis=1).sum()
    assert surface.undercut_mm2(A_SIDE) == 0
    assert surface.undercut_mm2(B_SIDE) == 0
    for side in (A_SIDE, B_SIDE):
        assert surface.wetted_mm2(side) == pytest.approx(total / 2, rel=1e-9)
    assert trapped(mesh, surface)[0] == trapped(mesh, surface, upwards=False)[0] == 0


def test_a_ball_cast_from_above_only_locks_by_its_lower_half():
    mesh = lay_down(sphere_mesh(50, 4))
    surface = examine_surface(mesh)
    total = np.linalg.norm(mesh.area_vectors(), axis=1).sum()
    # facets across the equator stand upright and belong to neither half of the ball
    upright = surface.by_class(A_SIDE)["upright"]
    assert surface.undercut_mm2(A_SIDE) == pytest.approx((total - upright) / 2, rel=1e-9)
    assert 0 < upright < 0.02 * total


def test_a_parting_plane_divides_facets_by_their_true_area():
    """A frustum side cut at a height is two trapezia."""
    mesh = lay_down(frustum_mesh(48, 80, 60, 150))
    surface = examine_surface(mesh, parting_mm=60)
    middle = 80 - 20 * 60 / 150
    above, below = surface.by_class(A_SIDE), surface.by_class(B_SIDE)
    assert above["above_band"] == pytest.approx(side_area(48, middle, 60, 90), rel=1e-9)
    assert below["undercut"] == pytest.approx(side_area(48, 80, middle, 60), rel=1e-9)
    assert below["square"] == pytest.approx(polygon_area(48, 80), rel=1e-9)
    assert not surface.resting.any()


def test_the_underside_of_a_flange_belongs_to_the_half_below():
    flange, foot = frustum_mesh(32, 60, 55, 20), frustum_mesh(32, 30, 40, 50)
    points = np.vstack([foot.points_mm, flange.points_mm + np.array([0, 0, 50])])
    mesh = Mesh(points, np.vstack([foot.facets, flange.facets + len(foot.points_mm)]))
    surface = examine_surface(mesh, parting_mm=50)
    assert surface.undercut_mm2(A_SIDE) == 0
    assert surface.by_class(B_SIDE)["square"] == pytest.approx(
        polygon_area(32, 60) + polygon_area(32, 30), rel=1e-9
    )


@pytest.mark.parametrize(
    ("parting", "band", "said"),
    [
        (-1, (3, 5), "parting_mm is -1 mm; it must be 0 to below 120 mm, the pattern's height."),
        (120, (3, 5), "parting_mm is 120 mm"),
        (0, (5, 3), "The draft band is 5 to 3 deg; it must run upwards between 0.01 and 85 deg."),
        (0, (0, 5), "The draft band is 0 to 5 deg"),
    ],
)
def test_a_parting_plane_or_band_that_makes_no_sense_is_refused(parting, band, said):
    with pytest.raises(BadGeometry) as refused:
        examine_surface(box_mesh(300, 200, 120), parting, band)
    assert said in str(refused.value)
