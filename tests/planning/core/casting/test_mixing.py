"""Mix arithmetic by hand-worked examples and against exact fractions."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.core.casting.filled import density_from_mass_fractions, filler_volume_fraction
from planning.core.casting.mixing import (
    Losses,
    MixRatio,
    correct_overpour,
    hardener_per_100_by_mass,
    hardener_per_100_by_volume,
    mix_for_volume,
    mixed_density_kg_l,
    stoichiometric_per_100,
)
from tests.reference_cases import params

RATIO = MixRatio(12.0, 2.0)


def filler_share(i):
    """Filler by volume out of parts by weight and the densities of mix and matrix."""
    masses = [i["resin"], i["hardener"], i["filler"]]
    shares = [m / sum(masses) for m in masses]
    mix = density_from_mass_fractions(shares, i["rho"])
    matrix = mixed_density_kg_l(i["hardener"], i["rho"][0], i["rho"][1])
    return filler_volume_fraction(mix, matrix, i["rho"][2])


WORKED = {
    "vol_ratio": lambda i: hardener_per_100_by_volume(i["pbw"], i["rho_resin"], i["rho_hardener"]),
    "mix_density": lambda i: mixed_density_kg_l(i["masses"][1], *i["rho"]),
    "split_mass": lambda i: list(
        MixRatio(i["pbw"]).split_kg(
            mix_for_volume(
                i["litres"], i["mix_density"], Losses(waste_fraction=i["waste"])
            ).total_kg
        )
    ),
    "phr_1": lambda i: stoichiometric_per_100(i["eew"], i["ahew"]),
    "phr_deta": lambda i: stoichiometric_per_100(i["eew"], i["mw"] / i["active_h"]),
    "filler_phr": filler_share,
}


@pytest.mark.parametrize("case", params("planning_checks.csv", *WORKED))
def test_worked_figures_of_the_planning_cases(case):
    case.check(WORKED[case.id](case.inputs))


@settings(deadline=None)
@given(st.floats(1, 200), st.floats(0.8, 3), st.floats(0.8, 3))
def test_ratio_by_volume_and_back_is_the_ratio(per_100, resin, hardener):
    there = hardener_per_100_by_volume(per_100, resin, hardener)
    assert hardener_per_100_by_mass(there, resin, hardener) == pytest.approx(per_100)


def test_need_adds_up_with_coat_waste_and_residue_of_every_pot():
    # By hand: 10 L x 1.7 = 17 kg; coat 0.5 x 0.4 = 0.2; waste 0.85; 18.05 kg in pots that give
    # 4.9 kg each: 4 pots, 0.4 kg residue, 18.45 kg in all.
    losses = Losses(0.05, residue_kg=0.1, brush_coat_kg_m2=0.5, brush_coat_m2=0.4)
    need = mix_for_volume(10.0, 1.7, losses, largest_pot_kg=5.0)
    assert need.pots == 4
    assert need.total_kg == pytest.approx(18.45)
    assert need.pot_kg == pytest.approx(4.6125)
    parts = need.cast_kg + need.brush_coat_kg + need.waste_kg + need.residue_kg
    assert need.total_kg == pytest.approx(parts)


def test_exactly_full_pots_are_not_one_too_many():
    assert mix_for_volume(30.0, 1.0, Losses(0.0, residue_kg=0.1), 3.1).pots == 10


@pytest.mark.parametrize(("weighed", "add", "add_g", "total_g"), [
    # By hand: 130 g need 130 / 0.12 = 1083.33 g of resin, 83 g more on a scale to 1 g.
    pytest.param((1000.0, 130.0), "resin", 83.0, 1213.0, id="hardener over-poured"),
    # 1100 g need 132 g of hardener, 12 g more.
    pytest.param((1100.0, 120.0), "hardener", 12.0, 1232.0, id="resin over-poured"),
    pytest.param((1000.0, 122.0), "", 0.0, 1122.0, id="within tolerance, leave it alone"),
    # 1000 x 0.12 x 1.02 = 122.4 is the last reading inside 2 %.
    pytest.param((1000.0, 122.4), "", 0.0, 1122.4, id="exactly on the tolerance"),
    pytest.param((1050.0, 0.0), "hardener", 126.0, 1176.0, id="resin over, no hardener yet"),
])  # fmt: skip
def test_overpour_by_hand(weighed, add, add_g, total_g):
    fix = correct_overpour(RATIO, *weighed, readability_g=1.0)
    assert (fix.add, fix.add_g, fix.new_total_g) == (add, add_g, total_g)
    assert fix.within_tolerance is (add == "")
    assert fix.problems == ()


@settings(deadline=None)
@given(
    resin=st.integers(500, 20_000), hardener=st.integers(60, 4_000),
    per_100=st.sampled_from([8.0, 12.0, 13.5, 25.0, 50.0]), division=st.sampled_from([1.0, 0.1]),
)  # fmt: skip
def test_corrected_batch_keeps_the_ratio_exactly(resin, hardener, per_100, division):
    ratio = MixRatio(per_100, 2.0)
    fix = correct_overpour(ratio, float(resin), float(hardener), division)
    added = Fraction(str(fix.add_g))
    after_resin = resin + (added if fix.add == "resin" else 0)
    after_hardener = hardener + (added if fix.add == "hardener" else 0)
    reached = after_hardener / Fraction(after_resin) / (Fraction(str(per_100)) / 100)
    assert abs(reached - 1) <= Fraction(2, 100)
    assert added % Fraction(str(division)) == 0
    assert Fraction(str(fix.new_total_g)) == after_resin + after_hardener


def test_correction_that_no_longer_fits_says_what_and_by_how_much():
    fix = correct_overpour(RATIO, 1000.0, 130.0, 1.0, pot_g=1200.0, lift_g=1150.0, stock_g=50.0)
    assert fix.problems == (
        "The batch becomes 1213 g; this pot may hold 1200 g.",
        "The batch becomes 1213 g; the lift takes 1150 g.",
        "83 g of resin are needed; 50 g are in stock.",
    )


def test_batch_too_small_for_the_scale_is_refused():
    with pytest.raises(ValueError, match=r"scale reading to 10 g cannot reach 2 %"):
        correct_overpour(RATIO, 100.0, 5.0, 10.0)


@pytest.mark.parametrize(("call", "said"), [
    (lambda: MixRatio(0.0), "hardener_per_100 is 0; it must be above 0"),
    (lambda: MixRatio(12.0, 80.0), "tolerance_percent is 80; it must lie in 0 to 50"),
    (lambda: mix_for_volume(-1.0, 1.7, Losses()), "volume_l is -1"),
    (lambda: mix_for_volume(1.0, 1.7, Losses(residue_kg=0.5), 0.4), "0.5 kg that stay"),
    (lambda: mixed_density_kg_l(12.0, 0.0, 1.0), "resin_kg_l is 0"),
    (lambda: Losses(waste_fraction=2.0), "waste_fraction is 2"),
])  # fmt: skip
def test_nonsense_is_refused_by_name_and_value(call, said):
    with pytest.raises(ValueError, match=said):
        call()
