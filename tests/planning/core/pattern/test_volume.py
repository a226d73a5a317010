"""
Volume and section area by height of meshes, against closed forms and an independent library.

Rows of the reference cases print their source when they fail.
"""

import functools
import math

import numpy as np
import pytest
from scipy.integrate import quad

from planning.core.pattern.examine import half_of
from planning.core.pattern.mesh import Mesh, lay_down
from planning.core.pattern.read import read_pattern
from planning.core.pattern.sections import Sections, section_table
from planning.core.pattern.sound import inspect
from tests.planning.core.pattern.meshes import (
    binary_stl,
    box_mesh,
    dovetail_mesh,
    frustum_mesh,
    sphere_mesh,
)
from tests.reference_cases import asserts, case, params

FILE = "planning_checks.csv"


def row(name, file=FILE):
    return case(file, name)


def solid_of(tabled):
    given = tabled.inputs
    mesh = frustum_mesh(given["sides"], given["r_bottom"], given["r_top"], given["height"])
    return mesh, given.get("z")


@pytest.mark.parametrize("tabled", params(FILE, "vol_cyl", "vol_fru", "vol_pyr"))
def test_tabled_volume_of_a_frustum(tabled):
    mesh, _ = solid_of(tabled)
    tabled.near(mesh.signed_volume_mm3())
    tabled.near(Sections(lay_down(mesh)).volume_mm3())


@pytest.mark.parametrize("tabled", params(FILE, "sec_"))
def test_tabled_section_area(tabled):
    mesh, height = solid_of(tabled)
    tabled.near(Sections(lay_down(mesh)).area_mm2(height))


@pytest.mark.parametrize("tabled", params(FILE, "fill_"))
def test_tabled_fill_below_a_height(tabled):
    mesh, height = solid_of(tabled)
    sections = Sections(lay_down(mesh))
    tabled.near(sections.volume_below_mm3(height))
    tabled.near(sections.shape().shape.volume_l(0, height) * 1e6)


@asserts("physics_checks.csv", "P106")
def test_tabled_box_mesh_in_litres():
    given = row("P106", "physics_checks.csv").inputs
    mesh = box_mesh(given["a_m"], given["b_m"], given["c_m"])
    read = read_pattern(binary_stl(mesh), "box.stl", "m")
    assert read.signed_volume_mm3() / 1e6 == pytest.approx(7.2, rel=1e-6)  # single precision file
    exact = Mesh(mesh.points_mm * 1000, mesh.facets)
    row("P106", "physics_checks.csv").near(exact.signed_volume_mm3() / 1e6)


@asserts(FILE, "flip")
def test_tabled_inside_out_mesh():
    prism = frustum_mesh(24, 30, 30, 40)
    turned = Mesh(prism.points_mm, prism.facets[:, ::-1])
    row("flip").near(turned.signed_volume_mm3())
    found = inspect(turned)
    assert found.closed
    assert found.inside_out
    assert not found.solid


@asserts(FILE, "hole")
def test_tabled_leak_makes_the_sum_depend_on_the_origin():
    prism = frustum_mesh(24, 30, 30, 40)
    leaky = Mesh(prism.points_mm, np.delete(prism.facets, 3 * 24, axis=0))
    here = leaky.signed_volume_mm3(origin_mm=(0, 0, 0))
    moved = leaky.signed_volume_mm3(origin_mm=(0, 0, -1000))
    row("hole").near(moved - here)
    found = inspect(leaky)
    assert not found.closed
    assert found.open_edges == 3


@asserts(FILE, "inch")
def test_tabled_inches_read_as_millimetres():
    data = binary_stl(box_mesh(4, 3, 2))
    inch, mm = (read_pattern(data, "b.stl", unit).signed_volume_mm3() for unit in ("inch", "mm"))
    row("inch").near(inch / mm)


@asserts(FILE, "f32")
def test_tabled_step_of_the_numbers_in_a_file_is_kept():
    near = row("f32").inputs["at"]
    beyond = float(np.nextafter(np.float32(near), np.float32(2 * near)))
    short, long = (
        np.ptp(read_pattern(binary_stl(box_mesh(side, 10, 10)), "b.stl", "mm").points_mm[:, 0])
        for side in (near, beyond)
    )
    row("f32").near(long - short)


@asserts(FILE, "inscribed")
def test_tabled_loss_of_a_polygon_for_a_circle():
    sides = row("inscribed").inputs["n"]
    prism = frustum_mesh(sides, 50, 50, 80)
    lost = 1 - prism.signed_volume_mm3() / (math.pi * 50**2 * 80)
    row("inscribed").near(lost)


@asserts(FILE, "rough")
def test_tabled_shaken_mesh_has_one_volume_whatever_the_origin():
    mesh = frustum_mesh(40, 60, 45, 90)
    shaken = mesh.points_mm + np.random.default_rng(5).normal(0, 0.8, mesh.points_mm.shape)
    rough = Mesh(shaken, mesh.facets)
    far = rough.signed_volume_mm3(origin_mm=(5000, -3000, 1000))
    row("rough").near(far / rough.signed_volume_mm3())
    assert Sections(lay_down(rough)).volume_mm3() == pytest.approx(
        rough.signed_volume_mm3(), rel=1e-12
    )


def shaken_sphere():
    ball = sphere_mesh(50, 3)
    points = ball.points_mm * (1 + 0.05 * np.sin(ball.points_mm / 7)).prod(axis=1)[:, None]
    return Mesh(points, ball.facets)


@pytest.mark.parametrize(
    "mesh",
    [sphere_mesh(), shaken_sphere(), dovetail_mesh(), frustum_mesh(48, 80, 60, 150)],
    ids=["sphere", "lumpy sphere", "dovetail", "frustum"],
)
def test_volume_and_sections_equal_a_mesh_library(mesh):
    """Against trimesh: its volume, and shapely's area of the polygons it cuts."""
    import shapely
    import trimesh

    lying = lay_down(mesh)
    other = trimesh.Trimesh(lying.points_mm, lying.facets, process=False)
    assert other.is_watertight
    sections = Sections(lying)
    assert sections.volume_mm3() == pytest.approx(other.volume, rel=1e-9)
    for share in (0.03, 0.21, 0.49, 0.77, 0.98):
        height = share * sections.height_mm
        cut = other.section(plane_origin=[0, 0, height], plane_normal=[0, 0, 1])
        rings = [shapely.Polygon(ring[:, :2]) for ring in cut.discrete]
        area = functools.reduce(shapely.symmetric_difference, rings).area
        assert sections.area_mm2(height) == pytest.approx(area, rel=1e-9)


@pytest.mark.parametrize("mesh", [dovetail_mesh(), shaken_sphere()], ids=["dovetail", "lumpy"])
def test_volume_below_is_the_integral_of_the_area(mesh):
    """Against adaptive quadrature of the project's own area between corner heights."""
    sections = Sections(lay_down(mesh))
    low, high = 0.35 * sections.height_mm, 0.38 * sections.height_mm
    expected, _ = quad(sections.area_mm2, low, high, limit=400)
    got = sections.volume_below_mm3(high) - sections.volume_below_mm3(low)
    assert got == pytest.approx(expected, rel=1e-6)


def test_area_jumps_at_a_flat_face():
    sections = Sections(lay_down(dovetail_mesh(length=100)))
    assert sections.area_mm2(30, just_below=True) == pytest.approx(200 * 100)
    assert sections.area_mm2(30) == pytest.approx(120 * 100)
    assert sections.area_mm2(60, just_below=True) == pytest.approx(150 * 100)
    assert sections.area_mm2(60) == 0


def test_few_corner_heights_give_an_exact_shape():
    profile = Sections(lay_down(dovetail_mesh(length=100))).shape()
    assert len(profile.shape.slices) == 2
    assert profile.largest_error_mm3 < 1e-6
    # the groove widens downwards: 50 mm at the top, 80 mm at its floor, 65 mm half-way
    assert profile.shape.volume_l(45, 60) == pytest.approx((200 - 57.5) * 15 * 100 / 1e6)


def test_many_corner_heights_give_a_shape_whose_error_is_stated():
    sections = Sections(lay_down(shaken_sphere()))
    profile = sections.shape()
    assert profile.shape.volume_l() * 1e6 == pytest.approx(sections.volume_mm3(), rel=1e-12)
    assert 0 < profile.largest_error_mm3 < 1e-5 * sections.volume_mm3()
    for height in np.linspace(0, sections.height_mm, 777)[1:-1].tolist():
        read = profile.shape.volume_l(0, height) * 1e6
        allowed = 2 * profile.largest_error_mm3 + 1e-6
        assert abs(read - sections.volume_below_mm3(height)) <= allowed


def test_halves_of_a_sphere_hold_the_same():
    shape = Sections(lay_down(sphere_mesh())).shape().shape
    upper, lower = half_of(shape, 50, upper=True), half_of(shape, 50, upper=False)
    assert upper.volume_l() + lower.volume_l() == pytest.approx(shape.volume_l())
    assert upper.volume_l(0, 20) == pytest.approx(lower.volume_l(0, 20), rel=1e-9)
    assert lower.area_mm2(10) == pytest.approx(shape.area_mm2(40), rel=1e-12)


def test_the_section_table_adds_up():
    sections = Sections(lay_down(frustum_mesh(48, 80, 60, 150)))
    table = section_table(sections, [0, 50, 100, 150])
    assert [row[0] for row in table] == [0, 50, 100, 150]
    assert table[0][2] == 0
    assert table[3][2] == pytest.approx(sections.volume_mm3())
    assert table[1][1] > table[2][1] > table[3][1] == 0


@pytest.mark.parametrize("pull", ["+z", "-z", "+x", "-x", "+y", "-y", (1, 2, 3)])
def test_laying_down_keeps_the_volume_and_puts_the_lowest_corner_at_nought(pull):
    mesh = box_mesh(30, 20, 10)
    lying = lay_down(mesh, pull)
    assert lying.points_mm.min(axis=0) == pytest.approx([0, 0, 0], abs=1e-12)
    assert lying.signed_volume_mm3() == pytest.approx(6000, rel=1e-12)
    heights = {"z": 10, "x": 30, "y": 20}
    if isinstance(pull, str):
        assert lying.size_mm[2] == heights[pull[1]]
