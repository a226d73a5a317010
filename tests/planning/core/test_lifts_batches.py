"""Lifts end where they cost the fewest pots; pots hold what vessel and pot life allow."""

from dataclasses import replace

import pytest

from planning.core.batches import divide, mixed_kg, pots_for, poured_kg, usable_batches_kg
from planning.core.lifts import NoLifts, split
from planning.core.problem import Layer, Mixer, Settings
from tests.planning.core.small_weeks import clocks, pour, problem, system
from tests.reference_cases import params


def layers(*masses: float, depth: float = 10.0):
    return tuple(Layer(depth, m) for m in masses)


def masses(lifts):
    return [round(x.mass_kg, 6) for x in lifts]


def test_the_fewest_lifts_end_where_they_cost_the_fewest_pots():
    # 60 mm in two lifts of 50 at most: cut evenly they are 9 and 13 kg, three pots of ten;
    # 10 and 12 kg would be three as well, 12 + 10 kg: three; 5 + 17: three
    shape = pour("A", layers=layers(3, 3, 3, 4, 4, 5))
    lifts = split(shape, system(), Settings(), usable_kg=13.0)
    assert masses(lifts) == [9, 13]
    assert [(x.first_layer, x.last_layer) for x in lifts] == [(0, 3), (3, 6)]


def test_an_uneven_cut_that_saves_a_pot_wins():
    shape = pour("A", layers=layers(8, 1, 1, 4, 4, 2))
    assert masses(split(shape, system(), Settings(), usable_kg=10.0)) == [10, 10]


@pytest.mark.parametrize("case", params("physics_checks.csv", "P083"))
def test_lifts_of_even_layers_are_equally_deep(case):
    depth, deepest = case.inputs["depth_mm"], case.inputs["max_lift_mm"]
    shape = pour("A", layers=layers(*[1.0] * 12, depth=depth / 12))
    lifts = split(shape, replace(system(), deepest_lift_mm=deepest), Settings(), usable_kg=13.0)
    assert len(lifts) == 3
    for lift in lifts:
        case.near((lift.last_layer - lift.first_layer) * depth / 12)


def test_lifts_already_poured_stay():
    shape = pour("A", layers=layers(1, 1, 1, 1, 1, 1))
    done = split(shape, system(), Settings(), usable_kg=10.0)[:1]
    assert split(shape, system(), Settings(), 10.0, done)[0] == done[0]


@pytest.mark.parametrize(
    ("shape", "settings", "words"),
    [
        pytest.param(layers(5, depth=60), Settings(), "60 mm deep; a lift may be 50", id="deep"),
        pytest.param(
            (Layer(45, 4), Layer(20, 2)), Settings(least_lift_mm=30), "no cut", id="thin"
        ),
    ],
)
def test_a_pour_that_cannot_be_cut_says_why(shape, settings, words):
    with pytest.raises(NoLifts, match=words):
        split(pour("A", layers=shape), system(), settings, 10.0)


@pytest.mark.parametrize(
    ("mass", "least", "equal", "expected"),
    [
        pytest.param(10, 0, False, [10], id="exactly one pot"),
        pytest.param(23, 0, False, [10, 10, 3], id="full pots and a remainder"),
        pytest.param(21, 4, False, [10, 7, 4], id="a remainder brought up to the least pot"),
        pytest.param(23, 0, True, [7.667, 7.667, 7.666], id="equal pots"),
    ],
)
def test_a_lift_is_divided_over_the_fewest_pots(mass, least, equal, expected):
    parts = divide(mass, 10.0, least, equal)
    assert parts == pytest.approx(expected)
    assert len(parts) == pots_for(mass, 10.0)
    assert sum(parts) == pytest.approx(mass, abs=1e-9)


def test_residue_is_mixed_on_top_of_what_is_poured():
    kind = system(residue_fixed_kg=0.2, residue_share=0.05)
    assert mixed_kg(kind, 4.0) == pytest.approx(4.4)
    assert poured_kg(kind, 4.4) == pytest.approx(4.0)


def test_a_pot_is_limited_by_the_stricter_of_vessel_and_pot_life():
    kind = system(
        vessel_kg=9.0, conditions=(clocks(pot_life_min=12), clocks(from_min=1440, pot_life_min=60))
    )
    week = problem(pour("A"), systems=(kind,), mixers=(Mixer("M1", 20.0),))
    # 12 min of pot life less 5 of mixing pour 7 kg at 1 kg/min; the kinder day fills the vessel
    assert usable_batches_kg(week, kind) == (9.0, 7.0)
