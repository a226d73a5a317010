"""What filled casting epoxies usually have on their data sheets; outside it somebody is asked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

USUAL = {
    "hardener_per_100": (3.0, 100.0, ""),
    "ratio_tolerance_percent": (0.5, 10.0, "%"),
    "mixed_density_kg_l": (0.4, 3.5, "kg/L"),
    "pot_life_min": (3.0, 1_440.0, "min"),
    "pot_life_mass_kg": (0.05, 10.0, "kg"),
    "reference_c": (15.0, 35.0, "°C"),
    "gel_time_min": (5.0, 5_760.0, "min"),
    "deepest_lift_mm": (2.0, 300.0, "mm"),
    "gap_least_min": (10.0, 4_320.0, "min"),
    "gap_greatest_min": (20.0, 10_080.0, "min"),
    "demould_min": (30.0, 20_160.0, "min"),
    "activation_kj_mol": (40.0, 85.0, "kJ/mol"),
    "service_c": (30.0, 250.0, "°C"),
    "cap_c": (45.0, 200.0, "°C"),
    "vessel_kg": (0.1, 500.0, "kg"),
    "pour_rate_kg_min": (0.05, 100.0, "kg/min"),
}
"""Least, greatest and unit. Activation energies: 46 to 73 kJ/mol were measured on epoxies, see
SOURCES_physics. The others are common practice, no source."""


@dataclass(frozen=True)
class Unusual:
    """A value that may be a slip: its field, and a sentence with value, limits and unit."""

    field: str
    words: str
    low: float
    high: float
    unit: str


def unusual(values: Mapping[str, float | None]) -> list[Unusual]:
    """
    Return the values of a data sheet that lie outside what is usual.

    Parameters
    ----------
    values : mapping of str to float or None
        By the names in `USUAL`, each in its unit; others and None are left out.

    Returns
    -------
    list of Unusual
        In the order of `USUAL`. A temperature that would be usual in Fahrenheit is said so.
    """
    found = []
    for name, (low, high, unit) in USUAL.items():
        value = values.get(name)
        if value is None or low <= value <= high:
            continue
        named = f" {unit}" if unit else ""
        words = f"is {value:g}{named}; {low:g} to {high:g}{named} is usual for a filled epoxy."
        celsius = (value - 32.0) / 1.8
        if unit == "°C" and low <= celsius <= high:
            words += f" {value:g} °F would be {celsius:.1f} °C."
        found.append(Unusual(name, words, low, high, unit))
    return found
