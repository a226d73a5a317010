"""What is assumed where nothing was measured is said, each for its own reason and no other."""

from dataclasses import replace

import pytest

from planning.core.casting.cautions import cautions_of
from tests.planning.core.casting.demo_resin import BOTH, DEMO, KINETICS, SHEET, SHEET_ONLY

MEASURED = replace(
    BOTH, e_j_mol=58_000.0, gel_is_known=True, largest_pot_kg=8.0,
    kinetics=replace(KINETICS, fitted_from_c=18.0, fitted_to_c=30.0),
)  # fmt: skip
MEASURED_SHEET = replace(SHEET_ONLY, e_j_mol=58_000.0, largest_pot_kg=8.0)


def codes(system, *temps_c):
    return {one.code for one in cautions_of(system, *temps_c)}


def test_a_measured_system_carries_no_caution():
    assert codes(MEASURED, 22.0) == set()
    assert codes(MEASURED_SHEET, 22.0) == set()


@pytest.mark.parametrize(("system", "temps_c", "code", "words"), [
    (replace(MEASURED, e_j_mol=None), (22.0,), "activation_energy", "46 and 73 kJ/mol"),
    (replace(MEASURED_SHEET, largest_pot_kg=None), (22.0,), "pot_mass", "above 0.5 kg, 5 times"),
    (MEASURED, (22.0, 50.0), "kinetics_far", "50 °C is far outside"),
    (MEASURED, (2.0,), "kinetics_far", "2 °C is far outside"),
    (replace(MEASURED, peak_cap_c=None), (22.0,), "peak_limit", "80 °C is taken"),
    (replace(MEASURED, gel_is_known=False), (22.0,), "gel_conversion", "0.577"),
    (MEASURED_SHEET, (22.0, 40.0), "printed_depth", "70 mm, holds at about 25 °C"),
    (MEASURED_SHEET, (31.0,), "printed_depth", "31 °C"),
    (replace(MEASURED, demould_conversion=0.97), (22.0, 15.0), "stall", "At 15 °C its cure stops"),
])  # fmt: skip
def test_each_caution_comes_with_its_reason_alone(system, temps_c, code, words):
    (found,) = cautions_of(system, *temps_c)
    assert found.code == code
    assert words in found.words


def test_kinetics_count_as_far_from_their_records_by_15_kelvin():
    edges = {3.0: set(), 2.9: {"kinetics_far"}, 45.0: set(), 45.1: {"kinetics_far"}}
    assert {c: codes(MEASURED, c) for c in edges} == edges


def test_a_system_without_printed_times_needs_no_energy():
    assert codes(DEMO, 22.0) == {"peak_limit", "gel_conversion"}


def test_what_is_taken_for_a_mix_that_is_not_told_is_the_shops_temperature():
    assert cautions_of(BOTH, 22.0, None, None) == cautions_of(BOTH, 22.0)
    assert SHEET.deepest_lift_mm == 70.0
