"""Fits recover what the curves were made with, and own up when they cannot."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from planning.core.casting.exotherm import lift_temps_c
from planning.core.casting.faces import INSULATED, Face
from planning.core.casting.fitting import fit_activation_energy, fit_kinetics
from planning.core.casting.logged import LoggedPour
from tests.planning.core.casting.demo_resin import AIR, BOARD, DEMO, SHEET_ONLY

HOURS = tuple(np.arange(0.5, 16.1, 0.5))


def logged(depth_mm, shop_c, base=BOARD, noise_k=0.3, seed=1):
    """A logger in the middle of a lift of the true system, with noise."""
    truth = lift_temps_c(DEMO, depth_mm, shop_c, base, AIR, depth_mm / 2, HOURS, cells=80)
    noise = np.random.default_rng(seed).normal(0.0, noise_k, len(HOURS))
    return LoggedPour(depth_mm, depth_mm / 2, shop_c, base, AIR, HOURS, tuple(truth + noise))


WRONG = replace(
    DEMO,
    kinetics=replace(DEMO.kinetics, a1_per_s=1.4 * 1.9324e4, a2_per_s=0.75 * 4599.5),
    thermal=replace(DEMO.thermal, heat_j_kg=300e3),
)
POURS = (logged(70.0, 25.0), logged(50.0, 20.0, seed=2), logged(40.0, 25.0, INSULATED, seed=3))


@pytest.fixture(scope="module")
def fit():
    return fit_kinetics(WRONG, POURS)


def test_fit_recovers_what_the_curves_were_made_with(fit):
    kinetics, thermal = fit.system.kinetics, fit.system.thermal
    assert kinetics.a1_per_s == pytest.approx(1.9324e4, rel=0.05)
    assert kinetics.a2_per_s == pytest.approx(4599.5, rel=0.05)
    assert thermal.heat_j_kg == pytest.approx(350e3, rel=0.02)


def test_truth_lies_in_the_intervals_and_they_are_not_idle(fit):
    rates = {"k1": 1.9324e4 / fit.system.kinetics.a1_per_s,
             "k2": 4599.5 / fit.system.kinetics.a2_per_s,
             "heat_j_kg": 350e3 / fit.system.thermal.heat_j_kg}  # fmt: skip
    for figure in fit.figures:
        assert figure.low <= figure.value * rates[figure.name] <= figure.high
        assert figure.high < 1.2 * figure.value
    assert fit.cautions == ()


def test_measured_and_computed_stand_side_by_side(fit):
    assert fit.rms_k == pytest.approx(0.3, rel=0.25)  # the logger's own noise is what is left
    for pour, computed in zip(POURS, fit.computed_c, strict=True):
        assert len(computed) == len(pour.temps_c)
        assert max(abs(np.subtract(computed, pour.temps_c))) < 1.5


def test_what_is_not_free_stays(fit):
    assert fit.system.kinetics.e1_j_mol == DEMO.kinetics.e1_j_mol
    assert fit.system.thermal.density_kg_m3 == DEMO.thermal.density_kg_m3
    assert fit.system.kinetics.brake_c == DEMO.kinetics.brake_c


def test_one_cool_thin_pour_cannot_fix_activation_energies():
    thin = (logged(10.0, 23.0, Face(50.0)),)
    found = fit_kinetics(DEMO, thin, free=("e1_j_mol", "e2_j_mol", "k1", "k2"))
    assert any("hardly determined" in said for said in found.cautions)
    assert any("within 4 K" in said for said in found.cautions)


def test_activation_energy_agrees_with_a_straight_line_of_scipy():
    times, temps = [101.0, 61.0, 41.5, 30.5], [18.0, 25.0, 30.0, 35.0]
    got = fit_activation_energy(times, temps)
    line = stats.linregress([1 / (c + 273.15) for c in temps], np.log(times))
    assert got.e_j_mol.value == pytest.approx(line.slope * 8.314462618)
    half = stats.t.ppf(0.975, 2) * line.stderr * 8.314462618
    assert got.e_j_mol.high - got.e_j_mol.value == pytest.approx(half)
    assert got.worst_miss_percent < 3


def test_two_readings_give_a_value_without_an_interval():
    got = fit_activation_energy([60.0, 30.0], [25.0, 35.0])
    assert got.e_j_mol.value == pytest.approx(52_948.86, abs=0.1)
    assert got.e_j_mol.high == float("inf")
    assert got.time_at_reference.value == pytest.approx(60.0)


@pytest.mark.parametrize(("call", "said"), [
    (lambda: fit_activation_energy([60.0], [25.0]), "at least two"),
    (lambda: fit_activation_energy([60.0, 61.0], [25.0, 25.0]), "two temperatures are needed"),
    (lambda: fit_activation_energy([60.0, 0.0], [25.0, 30.0]), "time 2 is 0"),
    (lambda: fit_kinetics(SHEET_ONLY, POURS), "has no kinetics"),
    (lambda: fit_kinetics(DEMO, POURS, free=("colour",)), "choose among k1, k2"),
    (lambda: fit_kinetics(DEMO, [], free=("k1",)), "0 readings cannot fix 1"),
    (lambda: LoggedPour(50.0, 60.0, 20.0, BOARD, AIR, (1.0, 2.0, 3.0), (20.0,) * 3), "height_mm"),
    (lambda: LoggedPour(50.0, 25.0, 20.0, BOARD, AIR, (1.0, 2.0), (20.0,) * 2), "at least 3"),
    (lambda: LoggedPour(50.0, 25.0, 20.0, BOARD, AIR, (1.0, 2.0, 2.0), (20.0,) * 3), "must rise"),
])  # fmt: skip
def test_nonsense_is_refused_by_name_and_value(call, said):
    with pytest.raises(ValueError, match=said):
        call()
