from decimal import Decimal

import pytest

from planning.pours.shapes import casting_of
from shared.errors import Invalid

BOX = {"geometry": "box", "length_mm": "300", "width_mm": "200", "depth_mm": "120"}


def test_a_box_less_a_pattern_holds_the_difference():
    """Row P103 of the physics cases: 300 x 200 x 120 mm less a cylinder, 6.69106 L."""
    plug_l = "0.5089380098815465"
    casting = casting_of({**BOX, "pattern_l": plug_l, "pattern_height_mm": "80"}, Decimal("1.70"))
    assert casting.volume_l == pytest.approx(6.69106199, rel=1e-8)
    assert casting.mass_kg == pytest.approx(6.69106199 * 1.70, rel=1e-8)


def test_layers_add_up_to_depth_and_mass_and_the_brush_coat_is_in_the_first():
    plain = casting_of(BOX, Decimal("1.70"))
    brushed = casting_of({**BOX, "brush_coat_kg": "0.25"}, Decimal("1.70"))
    assert sum(row["depth_mm"] for row in brushed.layers) == pytest.approx(120)
    assert sum(row["mass_kg"] for row in brushed.layers) == pytest.approx(brushed.mass_kg)
    assert brushed.layers[0]["mass_kg"] - plain.layers[0]["mass_kg"] == pytest.approx(0.25)


@pytest.mark.parametrize(
    ("changes", "pointer", "words"),
    [
        pytest.param({"depth_mm": "-5"}, "#/depth_mm", ["depth_mm is -5 mm"], id="negative depth"),
        pytest.param(
            {"pattern_l": "9", "pattern_height_mm": "100"},
            "#/pattern_l",
            ["pattern_l is 9 L", "L"],
            id="pattern larger than its box",
        ),
        pytest.param(
            {"pattern_l": "1", "pattern_height_mm": "150"},
            "#/pattern_height_mm",
            ["pattern_height_mm is 150 mm", "120 mm"],
            id="pattern taller than its box",
        ),
        pytest.param({"width_mm": None}, "#/width_mm", ["width_mm is missing"], id="no width"),
        pytest.param(
            {"geometry": "volume", "stated_l": "0"}, "#/stated_l", ["stated_l is 0 L"], id="0 L"
        ),
    ],
)
def test_nonsense_names_field_value_limit_and_unit(changes, pointer, words):
    with pytest.raises(Invalid) as refused:
        casting_of({**BOX, **changes}, Decimal("1.70"))
    (problem,) = refused.value.problems
    assert problem.pointer == pointer
    for word in words:
        assert word in problem.detail
