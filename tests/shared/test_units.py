"""Conversions against figures printed in NIST Handbook 44, appendix C, and NIST SP 811, B.8."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared import units
from tests.reference_cases import asserts, case

# NIST Handbook 44, appendix C, tables "Units of mass", "of length", "of volume" (from memory of
# the printed tables; exact by definition of the inch, the pound and the gallon).
PRINTED = [
    ("1", "lb", "g", "453.59237"),
    ("1", "oz", "g", "28.349523125"),
    ("1", "in", "mm", "25.4"),
    ("1", "ft", "m", "0.3048"),
    ("1", "gal_us", "l", "3.785411784"),
    ("1", "qt_us", "ml", "946.352946"),
    ("1", "fl_oz_us", "ml", "29.5735295625"),
    ("1", "cm3", "ml", "1"),
    ("1", "t", "kg", "1000"),
    ("90", "s", "min", "1.5"),
    ("2", "d", "h", "48"),
    # NIST SP 811, B.8: freezing and boiling of water, and where the two scales meet.
    ("32", "f", "c", "0"),
    ("212", "f", "c", "100"),
    ("-40", "f", "c", "-40"),
    ("25", "c", "k", "298.15"),
    ("0", "k", "c", "-273.15"),
]


@pytest.mark.parametrize(("value", "given_unit", "wanted", "printed"), PRINTED)
def test_conversion_gives_the_printed_figure(value, given_unit, wanted, printed):
    assert units.convert(Decimal(value), given_unit, wanted) == Decimal(printed)


@asserts("planning_checks.csv", "floz", "lbgal")
def test_tabled_us_units():
    floz, lbgal = (case("planning_checks.csv", name) for name in ("floz", "lbgal"))
    floz.near(float(units.convert(Decimal(1), "fl_oz_us", "ml")))
    pound, gallon = (units.convert(Decimal(1), *to) for to in (("lb", "kg"), ("gal_us", "l")))
    lbgal.near(float(pound / gallon))  # kg/L is g/cm3


@given(
    st.decimals(min_value="0.0001", max_value="10000", places=4),
    st.sampled_from([u for u, (kind, _) in units.FACTORS.items() if kind == "volume"]),
)
def test_there_and_back_is_the_same_quantity(value, unit):
    back = units.convert(units.convert(value, unit, "l"), "l", unit)
    assert abs(back - value) <= value * Decimal("1e-25")


@pytest.mark.parametrize(
    ("given_unit", "wanted", "words"),
    [
        ("stone", "kg", "'stone' is not a unit here"),
        ("kg", "l", "kg is a unit of mass, l one of volume"),
        ("kg", "c", "kg is a unit of mass, c one of temperature"),
    ],
)
def test_units_that_do_not_fit_are_named(given_unit, wanted, words):
    with pytest.raises(units.UnknownUnit, match=words):
        units.convert(Decimal(1), given_unit, wanted)


def test_below_absolute_zero_is_refused_with_the_limit():
    with pytest.raises(ValueError, match=r"below absolute zero, -273\.15 °C"):
        units.convert(Decimal(-500), "f", "c")


@pytest.mark.parametrize(
    ("value", "division", "reading"),
    [
        ("12.37", "0.05", "12.35"),
        ("12.375", "0.05", "12.40"),
        ("0.025", "0.05", "0.00"),
        ("0.075", "0.05", "0.10"),
        ("999.6", "1", "1000"),
        ("3", "2", "4"),
        ("5", "2", "4"),
    ],
)
def test_readings_are_rounded_to_the_division_halves_to_even(value, division, reading):
    assert units.round_to_division(Decimal(value), Decimal(division)) == Decimal(reading)


@pytest.mark.parametrize("division", ["0", "-1"])
def test_a_scale_without_division_is_refused(division):
    with pytest.raises(ValueError, match="must be above 0"):
        units.round_to_division(Decimal(1), Decimal(division))


@pytest.mark.parametrize(
    ("text", "length"),
    [
        # ISO 8601-1 and RFC 5545, 3.3.6 ("P15DT5H0M20S" and "P7D"-like forms are its examples).
        ("P15DT5H0M20S", timedelta(days=15, hours=5, seconds=20)),
        ("PT90M", timedelta(minutes=90)),
        ("P1D", timedelta(days=1)),
        ("PT0.5S", timedelta(milliseconds=500)),
    ],
)
def test_durations_are_read(text, length):
    assert units.parse_duration(text) == length


@pytest.mark.parametrize(
    "text", ["", "P", "PT", "P1Y", "P1M", "PT1H1S", "-P1D", "1D", "P1DT", "PT1H\n", "PT١H"]
)
def test_durations_without_a_fixed_length_are_refused(text):
    with pytest.raises(ValueError, match="is not a duration; write it as P1DT12H"):
        units.parse_duration(text)


def test_the_years_with_a_week_53():
    """ISO 8601: 2026 ends on a Thursday, so it has 53 weeks; 2027 has 52."""
    assert units.parse_week("2026-W53") == date(2026, 12, 28)
    assert units.week_of(date(2027, 1, 3)) == "2026-W53"
    with pytest.raises(ValueError, match="is not an ISO week that exists"):
        units.parse_week("2027-W53")


@pytest.mark.parametrize("text", ["2026-W00", "2026-49", "2026W49", "2026-W49 ", "0000-W01"])
def test_weeks_in_other_forms_are_refused(text):
    with pytest.raises(ValueError, match="write it as 2026-W49"):
        units.parse_week(text)


@given(st.dates(min_value=date(1, 1, 8), max_value=date(9999, 12, 20)))
def test_a_day_lies_in_the_week_it_names(day):
    assert 0 <= (day - units.parse_week(units.week_of(day))).days < 7


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("quantity_kg", "kg"),
        ("readability_g", "g"),
        ("density_kg_per_l", "kg/L"),
        ("mixed_density_kg_l", "kg/L"),
        ("pour_rate_kg_min", "kg/min"),
        ("activation_kj_mol", "kJ/mol"),
        ("ramp_k_h", "K/h"),
        ("viscosity_mpa_s", "mPa·s"),
        ("pot_life_min", "min"),
        ("peak_c", "°C"),
        ("hands_min_per_m2", "min/m²"),
        ("name", None),
        ("kg", None),
    ],
)
def test_a_name_says_its_unit(name, unit):
    assert units.unit_of_name(name) == unit
