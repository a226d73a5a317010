"""Pot life, largest batch and the forgotten pot."""

from dataclasses import replace

import pytest

from planning.core.casting.arrhenius import shift_time
from planning.core.casting.bucket import solve_bucket
from planning.core.casting.cautions import cautions_of
from planning.core.casting.pot_life import (
    Handling,
    gel_early_min,
    gel_late_min,
    largest_batch,
    pot_life_min,
)
from planning.core.casting.system import SystemData, TimePoint
from tests.planning.core.casting.demo_resin import BOTH, DEMO, SHEET_ONLY

LARGE = replace(SHEET_ONLY, largest_pot_kg=100.0)
"""Its pot life was read on 0.1 kg; the shop says that it pours pots of up to 100 kg."""
BRISK = Handling(mix_min=6.0, move_min=4.0, pour_kg_min=2.0, safety_fraction=0.8)


@pytest.mark.parametrize(("kg", "life_min", "peak_c"), [
    (0.1, 50.0, 29.4),
    (0.5, 48.7, 34.0),
    (2.5, 47.7, 46.6),
    (10.0, 47.4, 76.5),
    (25.0, 47.4, 99.6),
])  # fmt: skip
def test_published_table_of_pots(kg, life_min, peak_c):
    """Reference text, section 10, demo system at 25 C: pot life in min and peak of the core."""
    pot = solve_bucket(DEMO, kg, 25.0)
    assert pot.pot_life_min == pytest.approx(life_min, abs=0.06)
    assert pot.peak_core_c == pytest.approx(peak_c, rel=0.006)


def test_mass_hardly_shortens_the_life_but_decides_the_heat():
    small, large = solve_bucket(DEMO, 0.1, 25.0), solve_bucket(DEMO, 25.0, 25.0)
    assert large.pot_life_min > 0.9 * small.pot_life_min
    assert large.peak_core_c > small.peak_core_c + 60
    assert large.peak_core_c < 25 + DEMO.thermal.adiabatic_rise_k


def test_pot_that_heats_before_it_thickens_ends_by_core_temperature():
    hot = replace(DEMO, pot_life_conversion=0.5)
    assert solve_bucket(hot, 25.0, 25.0).ended_by == "core temperature"
    assert solve_bucket(DEMO, 25.0, 25.0).ended_by == "conversion"


def test_datasheet_point_is_shifted_and_not_corrected_for_mass():
    light = pot_life_min(SHEET_ONLY, 18.0, mass_kg=0.1)
    heavy = pot_life_min(SHEET_ONLY, 18.0, mass_kg=20.0)
    assert light == heavy
    assert light.basis == "datasheet"
    assert light.value == pytest.approx(shift_time(50.0, 25.0, 18.0, 46_000.0))
    own = replace(SHEET_ONLY, e_j_mol=60_000.0)
    assert pot_life_min(own, 18.0).value == pytest.approx(shift_time(50.0, 25.0, 18.0, 60_000.0))


def test_careful_pair_shortens_pot_life_and_lengthens_waiting():
    warm, cold = pot_life_min(SHEET_ONLY, 35.0).value, gel_late_min(SHEET_ONLY, 15.0).value
    assert warm == pytest.approx(shift_time(50.0, 25.0, 35.0, 73_000.0))
    assert cold == pytest.approx(shift_time(300.0, 25.0, 15.0, 73_000.0))
    for energy in (54_600.0, 58_500.0, 59_800.0, 63_600.0, 70_700.0):  # measured on epoxies
        assert warm <= shift_time(50.0, 25.0, 35.0, energy)
        assert cold >= shift_time(300.0, 25.0, 15.0, energy)
        assert gel_early_min(SHEET_ONLY, 15.0).value <= shift_time(300.0, 25.0, 15.0, energy)


def test_stricter_of_datasheet_and_computed_holds_and_is_named():
    short = replace(BOTH, datasheet=replace(BOTH.datasheet, pot_life=TimePoint(30.0, 25.0)))
    assert pot_life_min(short, 25.0, 2.5).basis == "datasheet"
    assert pot_life_min(BOTH, 25.0, 2.5).basis == "computed"
    limit = pot_life_min(BOTH, 25.0, 2.5)
    assert limit.value == min(limit.datasheet, limit.computed)


def test_warm_components_shorten_the_life():
    assert pot_life_min(BOTH, 20.0, 2.5, mix_c=28.0).value < pot_life_min(BOTH, 20.0, 2.5).value
    assert pot_life_min(SHEET_ONLY, 20.0, mix_c=28.0) == pot_life_min(SHEET_ONLY, 28.0)


def test_gel_is_early_for_wet_on_wet_and_late_for_the_next_lift():
    early, late = gel_early_min(BOTH, 25.0), gel_late_min(BOTH, 25.0)
    assert early.value == pytest.approx(300.0)
    assert late.basis == "computed"
    assert early.value < late.value


def test_system_of_which_nothing_is_known_says_unknown():
    limit = pot_life_min(SystemData("blank"), 25.0)
    assert (limit.value, limit.basis) == (None, "unknown")


def test_largest_batch_by_hand_from_the_datasheet():
    # 50 min x 0.8 = 40 min usable, 10 spoken for, 30 min at 2 kg/min: 60 kg.
    batch = largest_batch(LARGE, 25.0, BRISK)
    assert batch.mass_kg == pytest.approx(60.0)
    assert (batch.bound_by, batch.needed_min) == ("pot life", pytest.approx(40.0))


def test_largest_batch_is_bounded_by_what_holds_it():
    assert largest_batch(LARGE, 25.0, BRISK, vessel_kg=12.0).bound_by == "vessel"
    assert largest_batch(LARGE, 25.0, BRISK, vessel_kg=12.0, mixer_kg=9.0).mass_kg == 9.0
    assert largest_batch(LARGE, 25.0, BRISK, mixer_kg=9.0).bound_by == "mixer"


def test_largest_computed_batch_just_fits_its_own_pot_life():
    batch = largest_batch(BOTH, 25.0, BRISK)
    life = solve_bucket(BOTH, batch.mass_kg, 25.0).pot_life_min
    assert BRISK.minutes(batch.mass_kg) == pytest.approx(0.8 * life, rel=5e-3)
    assert batch.needed_min <= batch.usable_min


def test_no_batch_when_mixing_alone_takes_the_pot_life():
    slow = Handling(mix_min=45.0, move_min=0.0, pour_kg_min=2.0)
    batch = largest_batch(LARGE, 25.0, slow)
    assert (batch.mass_kg, batch.bound_by) == (0.0, "pot life")


def test_batch_that_nothing_bounds_is_refused():
    with pytest.raises(ValueError, match="one of the three must bound the batch"):
        largest_batch(SystemData("blank"), 25.0, BRISK)


@pytest.mark.parametrize(("call", "said"), [
    (lambda: solve_bucket(DEMO, 0.0, 25.0), "mass_kg is 0"),
    (lambda: solve_bucket(SHEET_ONLY, 1.0, 25.0), "has no kinetics"),
    (lambda: Handling(6.0, 4.0, 0.0), "pour_kg_min is 0"),
    (lambda: Handling(6.0, 4.0, 2.0, 1.5), "safety_fraction is 1.5; it must lie in 0 to 1"),
    (lambda: largest_batch(DEMO, 25.0, BRISK, vessel_kg=-1.0), "vessel_kg is -1"),
])  # fmt: skip
def test_nonsense_is_refused_by_name_and_value(call, said):
    with pytest.raises(ValueError, match=said):
        call()


def test_pot_whose_heat_is_unknown_is_held_near_the_mass_its_life_was_read_on():
    slow = replace(SHEET_ONLY, datasheet=replace(
        SHEET_ONLY.datasheet, pot_life=TimePoint(240.0, 25.0, 0.5)
    ))  # fmt: skip
    held = largest_batch(slow, 22.0, BRISK, vessel_kg=25.0)
    assert held.mass_kg == 2.5
    assert held.bound_by == "mass that the pot life was read on"
    said = largest_batch(replace(slow, largest_pot_kg=12.0), 22.0, BRISK, vessel_kg=25.0)
    assert (said.mass_kg, said.bound_by) == (12.0, held.bound_by)
    assert replace(BOTH, peak_cap_c=80.0).pot_limit_kg == float("inf")
    words = [one.words for one in cautions_of(slow, 22.0)]
    assert any("above 2.5 kg, 5 times the mass" in caution for caution in words)
