"""A resin system of the shop as the physics core sees it."""

from __future__ import annotations

from collections.abc import Container, Mapping
from decimal import Decimal
from typing import Any

from planning.core.casting.mixing import MixRatio
from planning.core.casting.system import (
    Datasheet,
    GlassTransition,
    Kinetics,
    SystemData,
    Thermal,
    TimePoint,
)
from shop.core.own_kinetics import KEY, Origin, origin, parts
from shop.stores_types import MaterialInfo, SystemInfo

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


def ratios_of(info: SystemInfo, roles: Container[str] | None = None) -> dict[str, MixRatio]:
    """
    Return the ratio to the resin of each other component, by name, in order of weighing.

    `roles` are those that a batch has rows for: a batch mixed before a component was entered is
    judged without it.
    """
    tolerances = {
        one.name: one.tolerance_percent
        for one in info.further
        if roles is None or one.name in roles
    }
    tolerances["hardener"] = info.ratio_tolerance_percent
    return {
        name: MixRatio(float(info.per_100[name]), float(tolerance))
        for name, tolerance in tolerances.items()
    }


def components_of(info: SystemInfo) -> dict[str, MaterialInfo]:
    """Return the material of each component, by name, in order of weighing."""
    return dict(zip(info.per_100, info.materials, strict=True))


def masses_kg(info: SystemInfo, mixed_kg: float) -> dict[int, float]:
    """Return what a mix takes of each material, by id, kg."""
    whole = float(sum(info.per_100.values()))
    return {
        material.id: mixed_kg * float(info.per_100[name]) / whole
        for name, material in components_of(info).items()
    }


INERT = ("filler", "pigment")
"""Kinds of material that give no heat."""


def reactive_share(info: SystemInfo) -> float:
    """
    Return the share of a mix that is no filler or pigment of the shop's own, 0 to 1.

    No more of it can react. A resin that comes filled reacts less; its thermal data say that.
    """
    inert = sum(one.per_100 for one in info.further if one.material.kind in INERT)
    whole = sum(info.per_100.values())
    return float((whole - inert) / whole)


def system_data(info: SystemInfo) -> SystemData:
    """
    Translate a stored system; what it does not say stays unknown.

    `kinetics` holds the fields of `Kinetics`, and under ``thermal``, ``glass`` and ``marks`` those
    of `Thermal`, of `GlassTransition`, and the conversions at which things happen with the
    largest pot the shop has said it pours. Where the mark
    ``hardener_hydrogens``, active hydrogens of one molecule of hardener, is told and no
    ``gel_conversion``, that follows from it. The part that reacts is never above what the mix has
    beside filler and pigment.
    """
    stored: dict[str, Any] = _numbers(info.kinetics or {})
    stored.pop(KEY, None)
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

    if thermal:
        share = reactive_share(info)
        thermal = thermal | {"reactive_fraction": min(thermal["reactive_fraction"], share)}
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
        further=tuple(one.name for one in info.further),
        **marks,
    )


def kinetics_origin(info: SystemInfo) -> Origin:
    """Say where a system's kinetics come from, and whether they are trusted as the shop's own."""
    return origin(info.kinetics, parts_of(info), float(info.hardener_per_100))


def parts_of(info: SystemInfo) -> str:
    """Return what is mixed into a system's resin, as its fit is kept with."""
    return parts(info.hardener.code, ((p.material.code, float(p.per_100)) for p in info.further))


def _numbers(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return constants as numbers; a change that two people made is kept with them as text."""
    return {
        name: _numbers(value)
        if isinstance(value, Mapping)
        else float(value)
        if isinstance(value, str) and name != "figures"
        else value
        for name, value in values.items()
    }
