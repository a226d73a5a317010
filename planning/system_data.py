"""A resin system of the shop as the physics core sees it."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from planning.core.casting.system import (
    Datasheet,
    GlassTransition,
    Kinetics,
    SystemData,
    Thermal,
    TimePoint,
)
from shop.stores_types import SystemInfo

EPOXIDES = 2.0
"""Of one molecule of the usual resins."""
EXTRAS = (
    "gel_conversion",
    "pot_life_conversion",
    "pot_life_core_c",
    "bond_conversion",
    "demould_conversion",
    "largest_pot_kg",
)


def system_data(info: SystemInfo) -> SystemData:
    """
    Translate a stored system; what it does not say stays unknown.

    `kinetics` holds the fields of `Kinetics`, and under ``thermal``, ``glass`` and ``marks`` those
    of `Thermal`, of `GlassTransition`, and the conversions at which things happen with the
    largest pot the shop has said it pours. Where the mark
    ``hardener_hydrogens``, active hydrogens of one molecule of hardener, is told and no
    ``gel_conversion``, that follows from it.
    """
    stored: dict[str, Any] = dict(info.kinetics or {})
    thermal, glass = stored.pop("thermal", None), stored.pop("glass", None)
    told = stored.pop("marks", {})
    marks = {name: value for name, value in told.items() if name in EXTRAS}
    if "gel_conversion" not in marks and "hardener_hydrogens" in told:
        from planning.core.casting.kinetics import gel_conversion  # brings numpy

        marks["gel_conversion"] = gel_conversion(float(told["hardener_hydrogens"]), EPOXIDES)

    def point(minutes: Decimal | None, mass_kg: Decimal | None = None) -> TimePoint | None:
        if minutes is None:
            return None
        mass = None if mass_kg is None else float(mass_kg)
        return TimePoint(float(minutes), float(info.reference_c), mass)

    if "gel_conversion" in marks:
        marks["gel_is_known"] = True
    energy = info.activation_kj_mol
    return SystemData(
        name=info.name,
        datasheet=Datasheet(
            pot_life=point(info.pot_life_min, info.pot_life_mass_kg),
            gel=point(info.gel_time_min),
            demould=point(info.demould_min),
            least_gap=point(info.gap_least_min),
            greatest_gap=point(info.gap_greatest_min),
            deepest_lift_mm=float(info.deepest_lift_mm),
        ),
        kinetics=Kinetics(**stored) if stored else None,
        thermal=Thermal(**thermal) if thermal else None,
        glass=GlassTransition(**glass) if glass else None,
        e_j_mol=None if energy is None else 1000 * float(energy),
        peak_cap_c=None if info.cap_c is None else float(info.cap_c),
        service_c=None if info.service_c is None else float(info.service_c),
        **marks,
    )
