"""
Casting volumes against closed forms, tabled values and independent integration.

Sources stand beside each tabled row: see the `source` and `how_obtained` columns of
fixtures/reference/cases/physics_checks.csv and planning_checks.csv; a failing row prints them.
"""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from planning.core.casting.geometry import BadGeometry, CastingShape, Slice
from planning.core.casting.solids import (
    box,
    box_around,
    casting_in_box,
    cover_remark,
    frustum,
    prismoid,
    spherical_cap,
    stated,
)
from tests.reference_cases import params


def physics_value(given):
    kind = given.get("solid") or given["mould"].split(",")[0]
    if kind == "cone frustum":
        return frustum(given["r1_mm"], given["r2_mm"], given["h_mm"]).volume_l()
    if kind == "spherical cap":
        return spherical_cap(given["R_mm"], given["h_mm"]).volume_l()
    if kind == "cone":
        return frustum(given["r_mm"], 0, given["h_mm"]).volume_l()
    if kind == "box minus cylinder":
        plug = frustum(given["d_mm"] / 2, given["d_mm"] / 2, given["plug_height_mm"])
        room = box(given["a_mm"], given["b_mm"], given["c_mm"])
        return room.minus(plug).volume_l()
    if kind == "rectangular frustum":
        bottom, top = (given["a1_mm"], given["b1_mm"]), (given["a2_mm"], given["b2_mm"])
        return prismoid(bottom, top, given["h_mm"]).volume_l()
    assert kind == "cone frustum cavity"
    return frustum(60, 100, 150).depth_for_volume(given["pour_L"])


@pytest.mark.parametrize("case", params("physics_checks.csv", *(f"P10{n}" for n in range(6))))
def test_tabled_volumes(case):
    case.near(physics_value(case.inputs))


def planning_value(case):
    given = case.inputs
    if case.id == "cap_1":
        return spherical_cap(given["R"], given["h"]).volume_l() * 1e6
    assert case.id == "cap_height"
    return spherical_cap(given["R"], given["R"]).depth_for_volume(given["litres"])


@pytest.mark.parametrize("case", params("planning_checks.csv", "cap_"))
def test_tabled_caps(case):
    case.near(planning_value(case))


SHAPES = [
    pytest.param(frustum(80, 20, 150), lambda z: math.pi * (80 - 0.4 * z) ** 2, id="frustum"),
    pytest.param(spherical_cap(90, 120), lambda z: math.pi * z * (180 - z), id="cap"),
    pytest.param(
        box(300, 200, 120, wall_draft_deg=4),
        lambda z: (
            (300 + 2 * z * math.tan(math.radians(4))) * (200 + 2 * z * math.tan(math.radians(4)))
        ),
        id="box leaning 4 degrees",
    ),
]


@pytest.mark.parametrize(("shape", "area"), SHAPES)
@pytest.mark.parametrize(("low", "high"), [(0.0, 0.3), (0.21, 0.77), (0.5, 1.0)])
def test_a_lift_holds_the_integral_of_area_over_height(shape, area, low, high):
    """Against adaptive quadrature of SciPy on the textbook area."""
    low, high = low * shape.depth_mm, high * shape.depth_mm
    expected, _ = quad(area, low, high)
    assert shape.volume_l(low, high) == pytest.approx(expected / 1e6, rel=1e-12)
    assert shape.area_mm2(high) == pytest.approx(area(high), rel=1e-12)


@pytest.mark.parametrize(("shape", "area"), SHAPES)
@given(share=st.floats(0, 1), start=st.floats(0, 1))
def test_depth_for_a_volume_gives_the_volume_back(shape, area, share, start):
    from_mm = start * shape.depth_mm
    volume = share * shape.volume_l(from_mm)
    height = shape.depth_for_volume(volume, from_mm)
    assert from_mm <= height <= shape.depth_mm
    assert shape.volume_l(from_mm, height) == pytest.approx(volume, rel=1e-10, abs=1e-12)


def test_a_casting_over_a_pattern_fills_first_round_it_and_then_over_it():
    shape = box(300, 200, 120).minus(frustum(45, 45, 80))
    ring = 300 * 200 - math.pi * 45**2
    assert shape.area_mm2(80 - 1e-9) == pytest.approx(ring)
    assert shape.area_mm2(80) == pytest.approx(60_000)
    assert shape.volume_l(70, 90) == pytest.approx((10 * ring + 10 * 60_000) / 1e6)
    assert shape.depth_for_volume(ring * 80 / 1e6 + 0.6) == pytest.approx(90)


def test_layers_add_up_to_the_whole_and_know_their_mass():
    shape = box(300, 200, 125).minus(frustum(60, 30, 80))
    layers = shape.equal_layers(thickest_mm=50)
    assert [layer.depth_mm for layer in layers] == pytest.approx([125 / 3] * 3)
    assert sum(layer.volume_l for layer in layers) == pytest.approx(shape.volume_l())
    assert layers[2].mass_kg(1.7) == pytest.approx(300 * 200 * 125 / 3 * 1.7e-6)
    assert [(a.from_mm, a.to_mm) for a in shape.layers([70, 20, 70])] == [
        (0, 20),
        (20, 70),
        (70, 125),
    ]
    assert len(shape.equal_layers(125)) == 1


def test_the_box_round_a_pattern_has_a_margin_on_every_side():
    size = box_around((180, 120, 60), margin_mm=25, cover_mm=15)
    assert (size.length_mm, size.width_mm, size.depth_mm) == (230, 170, 75)


def test_a_pattern_known_by_volume_only_gives_the_true_total_and_says_so():
    shape = casting_in_box(
        length_mm=300, width_mm=200, depth_mm=100, pattern_volume_l=1.2, pattern_height_mm=60
    )
    assert shape.volume_l() == pytest.approx(6.0 - 1.2)
    assert "spread evenly" in shape.assumption
    assert shape.volume_l(60, 100) == pytest.approx(2.4)
    bare = casting_in_box(length_mm=300, width_mm=200, depth_mm=100)
    assert bare.volume_l() == pytest.approx(6.0)
    assert bare.assumption == ""


def test_a_stated_volume_lies_evenly_over_its_depth():
    shape = stated(volume_l=4.2, depth_mm=70)
    assert shape.volume_l(0, 35) == pytest.approx(2.1)
    assert "stated" in shape.assumption


def test_a_shape_survives_being_stored():
    shape = box(300, 200, 120, 3).minus(spherical_cap(200, 50))
    assert CastingShape.from_rows(json.loads(json.dumps(shape.rows()))) == shape


def test_cover_below_ten_millimetres_is_remarked():
    assert cover_remark(10) == ""
    assert cover_remark(8.5).startswith("Cover over the highest point is 8.5 mm; at least 10 mm")


BAD = [
    (lambda: box(0, 200, 50), "length_mm is 0 mm; it must be above 0 and at most 10000 mm."),
    (lambda: box(300, 200, -5), "depth_mm is -5 mm; it must be above 0"),
    (lambda: box(300, math.nan, 50), "width_mm is nan mm"),
    (lambda: box(30_000, 200, 50), "length_mm is 30000 mm; it must be above 0 and at most 10000"),
    (lambda: box(300, 200, 50, 60), "wall_draft_deg is 60 deg; it must be -45 to 45 deg."),
    (lambda: box(300, 40, 100, -20), "above -11.31 deg for a side of 40 mm and 100 mm depth"),
    (lambda: frustum(0, 0, 50), "r_bottom_mm + r_top_mm is 0 mm"),
    (lambda: frustum(-1, 5, 50), "r_bottom_mm is -1 mm; it must be 0 to 10000 mm."),
    (lambda: spherical_cap(50, 101), "height_mm is 101 mm"),
    (lambda: stated(-1, 70), "volume_l is -1 L; it must be above 0."),
    (lambda: stated(math.inf, 70), "volume_l is inf L"),
    (lambda: box(300, 200, 50).volume_l(-1), "from_mm is -1 mm; it must be 0 to 50 mm."),
    (lambda: box(300, 200, 50).volume_l(40, 30), "to_mm is 30 mm; it must be 40 to 50 mm."),
    (lambda: box(300, 200, 50).area_mm2(51), "height_mm is 51 mm; it must be 0 to 50 mm."),
    (
        lambda: box(300, 200, 50).depth_for_volume(3.5),
        "volume_l is 3.5 L; it must be 0 to 3 L, the room above 0 mm.",
    ),
    (lambda: box(300, 200, 50).depth_for_volume(-0.1), "volume_l is -0.1 L; it must be 0 to"),
    (lambda: box(300, 200, 50).layers([60]), "boundaries_mm is 60 mm"),
    (lambda: box(300, 200, 50).equal_layers(0), "thickest_mm is 0 mm"),
    (
        lambda: box(300, 200, 50).minus(frustum(20, 20, 60)),
        "pattern_height_mm is 60 mm; it must be at most the casting depth of 50 mm.",
    ),
    (
        lambda: box(100, 100, 50).minus(frustum(70, 20, 40)),
        "The pattern is larger than its box at 20 mm above the board.",
    ),
    (
        lambda: casting_in_box(length_mm=100, width_mm=100, depth_mm=50, pattern_volume_l=0.6),
        "pattern_volume_l is 0.6 L; it must be below 0.5 L, the volume of its box.",
    ),
    (lambda: box_around((10, 10, 10), margin_mm=-1, cover_mm=10), "margin_mm is -1 mm"),
    (lambda: stated(1, 70).equal_layers(70)[0].mass_kg(0), "density_kg_l is 0 kg/L"),
]


@pytest.mark.parametrize(("build", "said"), BAD, ids=[said for _, said in BAD])
def test_nonsense_is_refused_with_field_value_limit_and_unit(build, said):
    with pytest.raises(BadGeometry) as refused:
        build()
    assert said in str(refused.value)


def test_slices_must_join_from_the_board_up():
    low, gap = Slice(0, 10, 1, 1, 1), Slice(11, 20, 1, 1, 1)
    with pytest.raises(ValueError, match="one ends at 10 mm, the next begins at 11 mm"):
        CastingShape((low, gap))
    with pytest.raises(ValueError, match="begin at height 0 mm"):
        CastingShape((gap,))
