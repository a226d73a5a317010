"""
Measured cure data against the product's formulas, row by row.

Every row of `fixtures/reference/cases/measured_cure.csv` is asserted by a check here or stands in
`NOT_APPLICABLE` with the reason; a row that is dropped, or a new one nobody looks at, fails.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from planning.core.casting.arrhenius import (
    CAREFUL_E_J_MOL,
    activation_energy_j_mol,
    equivalent_age,
    shift_range,
    shift_time,
)
from planning.core.casting.kinetics import conversion_along, gel_conversion, heat_of_cure_j_g
from planning.core.casting.mixing import stoichiometric_per_100
from planning.core.casting.posterior import SHEET_SPREADS
from planning.core.casting.pot_life import Handling
from planning.core.casting.system import Kinetics, SystemData

CASES = Path(__file__).parents[4] / "fixtures" / "reference" / "cases" / "measured_cure.csv"
with CASES.open(encoding="utf-8") as opened:
    ROWS = {row["id"]: row["value"] for row in csv.DictReader(opened)}

RAMPS = ("1", "2", "5", "7", "30")
LEVELS = ("twice the first reading", "ten times the first reading", "1 Pa s", "10 Pa s",
          "100 Pa s")  # fmt: skip
RAMP_E_J_MOL = 57.2e3
"""One energy for the five ramps of S01, chosen on all of them."""

NOT_APPLICABLE = {
    "S01-30-H": "57 % above the other ramps: mass or scale in the file is doubtful",
    **{i: "an inhibited moulding compound, no epoxy: equivalent age misses its held runs by up to "
          "63 %, and the product is not for it" for i in ROWS if i.startswith("S02-")},
    "S03-eta0": "the product has no viscosity",
    **{i: "an acrylic; its rate constants have no stated unit" for i in ROWS
       if i.startswith("S04-k")},
    "S05-glass_traC": "one glass transition without its conversion fixes no constant",
    "S07-0.9": "the greatest conversion of one system; the product's brake is fitted to each",
    "S09-Tg": "one glass transition without its conversion fixes no constant",
    "S10-1950": "a density; no formula gives it",
    **{i: "volume, mould, room and kinetics are not told, so nothing can be computed" for i in ROWS
       if i.startswith("S11-")},
    **{i: "the product has no shrinkage" for i in ROWS if i.startswith(("S12-", "S13-"))},
    **{i: "errors of another model; the casting is not described" for i in ROWS
       if i.startswith(("S14-", "S15-"))},
}  # fmt: skip

ENERGIES = [i for i in ROWS if i.startswith(("S01-E", "S06-E", "S07-6", "S07-7", "S08-", "S09-E"))]
ASSERTED: set[str] = set()


def value(row: str) -> float:
    """Return a measured value and note that a check looked at it."""
    ASSERTED.add(row)
    return float(ROWS[row])


def ramp(rate_k_min: float, to_c: float) -> tuple[list[float], list[float]]:
    """Minutes and temperatures of a ramp from 25 C."""
    temps = np.linspace(25.0, to_c, 200)
    return list((temps - 25.0) / rate_k_min), list(temps)


@pytest.mark.parametrize("share", ["0.1", "0.5", "0.9"])
def test_one_activation_energy_serves_ramps_thirty_times_apart(share):
    ages = []
    for rate in RAMPS:
        minutes, temps = ramp(float(rate), value(f"S01-{rate}-a{share}"))
        ages.append(equivalent_age(minutes, temps, 100.0, RAMP_E_J_MOL)[-1])
    # 3.2, 2.1 and 6.1 % in the source's own reckoning; where its records begin is not told.
    assert np.std(ages) / np.mean(ages) < {"0.1": 0.035, "0.5": 0.027, "0.9": 0.065}[share]


def test_rate_law_fitted_to_slow_ramps_gives_the_fast_one():
    """
    Fitted to 1, 2, 5 and 7 K/min with the energies held to 40 to 90 kJ/mol; 30 held out.

    Where the records begin is not told, and moves the first tenth of the cure by up to 4 K.
    """
    gas, at = 8.314462618, 150.0 + 273.15
    law = Kinetics(
        np.exp(-10.882 + 40.0e3 / gas / at), 40.0e3, np.exp(-4.979 + 57.83e3 / gas / at), 57.83e3,
        m=0.579, n=1.397,
    )  # fmt: skip
    for rate in RAMPS:
        minutes, temps = ramp(float(rate), 260.0)
        cure = conversion_along(law, [60 * m for m in minutes], temps)
        steepest = int(np.gradient(cure, temps).argmax())
        assert temps[steepest] == pytest.approx(value(f"S01-{rate}-Tp"), abs=3.0)
        for share, near_k in (("0.1", 4.5), ("0.5", 3.0), ("0.9", 3.0)):
            reached = float(np.interp(float(share), cure, temps))
            assert reached == pytest.approx(value(f"S01-{rate}-a{share}"), abs=near_k)


def test_spread_of_heat_that_the_clocks_count_on_is_the_measured_one():
    heats = [value(f"S01-{rate}-H") for rate in RAMPS[:-1]]
    assert np.std(heats, ddof=1) / np.mean(heats) <= SHEET_SPREADS[1]


@pytest.mark.parametrize("row", ENERGIES)
def test_careful_pair_spans_every_energy_measured_on_an_epoxy(row):
    low, high = CAREFUL_E_J_MOL
    assert low <= 1000 * value(row) <= high


def test_one_factor_shifts_thickening_over_three_decades():
    """No degrees are told: any two temperatures serve, the factor of the first level is kept."""
    first = value(f"S03-lo-{LEVELS[0]}") / value(f"S03-hi-{LEVELS[0]}")
    energy = activation_energy_j_mol(first, 20.0, 30.0)
    for level in LEVELS:
        shifted = shift_time(value(f"S03-lo-{level}"), 20.0, 30.0, energy)
        assert shifted == pytest.approx(value(f"S03-hi-{level}"), rel=0.05)


def test_end_conversion_rises_with_temperature_as_the_brake_has_it():
    temps = ("28.7", "48.6", "59.0", "61.4")
    ends = [value(f"S04-c{t}") for t in temps]
    slope, level = np.polyfit([float(t) for t in temps], ends, 1)
    assert slope == pytest.approx(0.0058, abs=2e-4)
    assert np.abs(np.polyval([slope, level], [float(t) for t in temps]) - ends).max() < 0.046


def test_epoxide_and_amine_give_heat_ratio_and_gel():
    epoxide, amine = value("S05-epoxide_eg/eq"), value("S05-amine_equg/eq")
    assert heat_of_cure_j_g(epoxide, amine) == pytest.approx(value("S05-heat_of_rJ/g"), rel=0.01)
    per_epoxide = heat_of_cure_j_g(epoxide, amine, value("S05-heat_per_kJ/e"))
    assert heat_of_cure_j_g(epoxide, amine) == pytest.approx(per_epoxide, rel=0.02)
    assert stoichiometric_per_100(epoxide, amine) == pytest.approx(
        value("S05-hardener_phr"), abs=0.05
    )
    assert gel_conversion(value("S05-amine_fun-"), 2.0) == pytest.approx(0.469, abs=1e-3)


def test_careful_pair_holds_the_printed_pot_lives_of_a_grout_between_them():
    printed = value("S10-240")
    for temp_c, row in ((30.0, "S10-90"), (40.0, "S10-50")):
        shortest, longest = shift_range(printed, 20.0, temp_c, CAREFUL_E_J_MOL)
        assert shortest <= value(row) <= longest


def test_trade_rule_for_the_end_of_a_pot():
    assert SystemData("any").pot_life_core_c == value("S16-T")
    assert Handling(0.0, 0.0, 1.0).safety_fraction == 1 - value("S16-s1") / 100


def test_every_row_is_asserted_or_listed_with_its_reason():
    ASSERTED.clear()
    for share in ("0.1", "0.5", "0.9"):
        test_one_activation_energy_serves_ramps_thirty_times_apart(share)
    for row in ENERGIES:
        test_careful_pair_spans_every_energy_measured_on_an_epoxy(row)
    test_rate_law_fitted_to_slow_ramps_gives_the_fast_one()
    test_spread_of_heat_that_the_clocks_count_on_is_the_measured_one()
    test_one_factor_shifts_thickening_over_three_decades()
    test_end_conversion_rises_with_temperature_as_the_brake_has_it()
    test_epoxide_and_amine_give_heat_ratio_and_gel()
    test_careful_pair_holds_the_printed_pot_lives_of_a_grout_between_them()
    test_trade_rule_for_the_end_of_a_pot()
    assert len(ROWS) == 133
    assert ASSERTED.isdisjoint(NOT_APPLICABLE)
    assert ASSERTED | set(NOT_APPLICABLE) == set(ROWS)
