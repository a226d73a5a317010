"""Short lifts; expected values by hand: with one area, height goes with mass."""

import pytest

from planning.core.casting.short_lift import cut_at, level_without
from planning.core.problem import Layer

LAYERS = (Layer(10, 2.0), Layer(20, 6.0))
"""0.2 kg/mm below, 0.3 kg/mm above: 8 kg over 30 mm."""


@pytest.mark.parametrize(
    ("missing_kg", "level_mm"),
    [
        pytest.param(0, 30, id="nothing missing"),
        pytest.param(1.5, 25, id="within the upper layer"),
        pytest.param(6, 10, id="the upper layer whole"),
        pytest.param(7, 5, id="and half the lower one"),
    ],
)
def test_the_surface_stands_where_the_mass_ends(missing_kg, level_mm):
    assert level_without(LAYERS, missing_kg) == pytest.approx(level_mm)


@pytest.mark.parametrize("missing_kg", [-0.1, 8.0, 9.0, float("nan")])
def test_no_more_can_be_missing_than_there_is(missing_kg):
    with pytest.raises(ValueError, match="cannot be missing"):
        level_without(LAYERS, missing_kg)


@pytest.mark.parametrize("height_mm", [-1, 0, 0.005, 9.995, 10, 29.999, 30, 99])
def test_an_edge_that_is_there_is_not_cut_again(height_mm):
    assert cut_at(LAYERS, height_mm) == LAYERS


def test_a_cut_shares_the_mass_by_depth_and_loses_none():
    parts = cut_at(LAYERS, 25)
    assert [layer.depth_mm for layer in parts] == [10, 15, 5]
    assert [layer.mass_kg for layer in parts] == pytest.approx([2.0, 4.5, 1.5])
    assert sum(layer.mass_kg for layer in parts) == 8.0
