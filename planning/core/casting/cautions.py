"""What is taken where a system's own value was never measured, in words for all that show it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from planning.core.casting.arrhenius import CAREFUL_E_J_MOL
from planning.core.casting.pot_life import colder_c, warmer_c
from planning.core.casting.system import POT_MASS_MULTIPLE, SystemData

WARM_K = 5.0
"""A mix or mould this much warmer than the data sheet's temperature makes its depth doubtful.
Assumed, no source."""


@dataclass(frozen=True)
class Caution:
    """One thing that is assumed, not known: a name for programs, and words for people."""

    code: str
    words: str


def cautions_of(system: SystemData, shop_c: float, *others_c: float | None) -> tuple[Caution, ...]:
    """
    Return what was taken instead of a measured value, for work at these temperatures.

    Parameters
    ----------
    system : SystemData
        Any of its data may be missing.
    shop_c : float
        Temperature of the shop, C.
    *others_c : float or None
        Temperatures of mix, mould or oven where they differ, C.

    Returns
    -------
    tuple of Caution
        Empty for a system that was measured all through.
    """
    told = (
        _energy(system),
        _pot_mass(system),
        _kinetics(system, colder_c(shop_c, *others_c), warmer_c(shop_c, *others_c)),
        _peak_limit(system),
        _gel(system),
        _printed_depth(system, warmer_c(shop_c, *others_c)),
        _stall(system, colder_c(shop_c, *others_c)),
        _further(system),
    )
    return tuple(one for one in told if one is not None)


def _energy(system: SystemData) -> Caution | None:
    sheet = system.datasheet
    points = (sheet.pot_life, sheet.gel, sheet.demould, sheet.least_gap, sheet.greatest_gap)
    if system.e_j_mol is not None or not any(points):
        return None
    low, high = (e / 1000 for e in CAREFUL_E_J_MOL)
    return Caution(
        "activation_energy",
        f"No activation energy was measured: of {low:g} and {high:g} kJ/mol the one that gives "
        "the stricter time is taken.",
    )


def _pot_mass(system: SystemData) -> Caution | None:
    if system.largest_pot_kg is not None or not math.isfinite(system.pot_limit_kg):
        return None
    return Caution(
        "pot_mass",
        f"No pot is planned above {system.pot_limit_kg:g} kg, {POT_MASS_MULTIPLE:g} times the "
        "mass that the pot life was read on; tell the largest pot the shop has poured to plan "
        "larger ones.",
    )


def _kinetics(system: SystemData, coldest_c: float, warmest_c: float) -> Caution | None:
    kinetics = system.kinetics
    if kinetics is None:
        return None
    far_c = next((c for c in (coldest_c, warmest_c) if kinetics.beyond_records(c)), None)
    if far_c is None:
        return None
    return Caution(
        "kinetics_far",
        f"The kinetics were fitted to records between {kinetics.fitted_from_c:g} and "
        f"{kinetics.fitted_to_c:g} °C; {far_c:g} °C is far outside, so trust no computed time "
        "before a logged pour has confirmed it.",
    )


def _peak_limit(system: SystemData) -> Caution | None:
    if not system.computable or system.peak_cap_c is not None:
        return None
    return Caution(
        "peak_limit",
        f"No peak limit is stated for this system; {system.peak_limit_c:g} °C is taken.",
    )


def _gel(system: SystemData) -> Caution | None:
    if system.kinetics is None or system.gel_is_known:
        return None
    return Caution(
        "gel_conversion",
        f"It counts as gelled at the usual conversion of {system.gel_conversion:g}, because "
        "neither its own nor the active hydrogens of its hardener are recorded.",
    )


def _printed_depth(system: SystemData, warmest_c: float) -> Caution | None:
    sheet = system.datasheet
    if system.computable or sheet.deepest_lift_mm is None or sheet.pot_life is None:
        return None
    if warmest_c < sheet.pot_life.temp_c + WARM_K:
        return None
    return Caution(
        "printed_depth",
        f"The data sheet's deepest lift, {sheet.deepest_lift_mm:g} mm, holds at about "
        f"{sheet.pot_life.temp_c:g} °C; how much less it is at {warmest_c:g} °C cannot be "
        "computed for this system. Pour thinner, and log the first one.",
    )


def _stall(system: SystemData, coldest_c: float) -> Caution | None:
    if system.kinetics is None:
        return None
    from planning.core.casting.cure import cure_clock  # brings the kinetics

    if not cure_clock(system, [0.0], [coldest_c], coldest_c).stalls:
        return None
    return Caution(
        "stall",
        f"At {coldest_c:g} °C its cure stops before it may be demoulded: warm the casting. A time "
        "planned for demoulding does not hold until it is warm.",
    )


def _further(system: SystemData) -> Caution | None:
    if not system.further:
        return None
    heat = (
        "Of its heat no more is counted than what is no filler or pigment can give. "
        if system.thermal is not None
        else ""
    )
    return Caution(
        "further_components",
        f"Mixed with {' and '.join(system.further)}: pot life, depth and cure hold only if they "
        f"were measured on this mix. {heat}An accelerator shortens the pot life; filler slows the "
        "cure and takes up heat: neither is worked out. Log the first pour.",
    )
