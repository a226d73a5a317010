"""Pot life and gel time at the day's temperature, and the largest batch that fits into them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from planning.core.casting import require
from planning.core.casting.arrhenius import shift_range
from planning.core.casting.stricter import Limit, earlier, greatest, least
from planning.core.casting.system import SystemData, TimePoint

_Range = tuple[float, float] | tuple[None, None]


def pot_life_min(
    system: SystemData, shop_c: float, mass_kg: float | None = None, mix_c: float | None = None
) -> Limit:
    """
    Return how long a batch can be poured, from first contact, min.

    Parameters
    ----------
    system : SystemData
        Datasheet pot life, kinetics, or both.
    shop_c : float
        Temperature of the shop, C.
    mass_kg : float, optional
        Mass of the batch, kg. Without it the computed figure is for a thin, cool batch.
    mix_c : float, optional
        Temperature of the components, C; the shop's when left out.

    Returns
    -------
    Limit
        The shorter of the datasheet's point, shifted to the warmer of shop and mix by the
        stricter activation energy, and the computed figure. The datasheet's point is not
        corrected for mass: no such law is known.

    Raises
    ------
    ValueError
        If a temperature or the mass is out of range.
    """
    require.temperature(shop_c=shop_c)
    warm_c = warmer_c(shop_c, mix_c)
    shortest, _ = _shifted(system, system.datasheet.pot_life, warm_c)
    return least(shortest, _computed_pot_life(system, shop_c, mass_kg, mix_c))


def planned_pot_life_min(
    system: SystemData, shop_c: float, mass_kg: float | None, mix_c: float | None
) -> Limit:
    """Return the pot life to plan by: a mix planned colder than the shop may be as warm as it."""
    plain = pot_life_min(system, shop_c, mass_kg)
    return plain if mix_c is None else earlier(plain, pot_life_min(system, shop_c, mass_kg, mix_c))


def gel_early_min(system: SystemData, shop_c: float, mix_c: float | None = None) -> Limit:
    """
    Return when a thin batch may gel at the earliest: the limit for pouring wet on wet, min.

    The warmer of shop and mix counts.
    """
    (shortest, _), computed = _gel(system, warmer_c(shop_c, mix_c))
    return least(shortest, computed)


def gel_late_min(system: SystemData, shop_c: float, mix_c: float | None = None) -> Limit:
    """
    Return when a thin batch has gelled at the latest: the limit for the next lift, min.

    The colder of shop and mix counts.
    """
    (_, longest), computed = _gel(system, colder_c(shop_c, mix_c))
    return greatest(longest, computed)


def warmer_c(shop_c: float, *others_c: float | None) -> float:
    """Return the warmest, C; a mix or mould that is not told has the shop's temperature."""
    return max([shop_c, *(one for one in others_c if one is not None)])


def colder_c(shop_c: float, *others_c: float | None) -> float:
    """Return the coldest, C; a mix or mould that is not told has the shop's temperature."""
    return min([shop_c, *(one for one in others_c if one is not None)])


@dataclass(frozen=True)
class Handling:
    """How a batch is mixed and poured; times count from first contact of the components."""

    mix_min: float
    move_min: float
    """Second container, carrying, and moves between tools."""
    pour_kg_min: float
    safety_fraction: float = 0.8
    """Share of the pot life that may be used. Common practice, no source."""

    def __post_init__(self) -> None:
        require.not_negative(mix_min=self.mix_min, move_min=self.move_min)
        require.positive(pour_kg_min=self.pour_kg_min, safety_fraction=self.safety_fraction)
        require.within(0.0, 1.0, safety_fraction=self.safety_fraction)

    def minutes(self, mass_kg: float) -> float:
        """Return the time from first contact until the pot is empty, min."""
        return self.mix_min + self.move_min + mass_kg / self.pour_kg_min


@dataclass(frozen=True)
class LargestBatch:
    """The largest batch, what bounds it, and its clock."""

    mass_kg: float
    bound_by: str
    """'pot life', 'vessel', 'mixer' or 'mass that the pot life was read on'."""
    pot_life: Limit
    usable_min: float | None
    """Pot life less its safety share; None when no pot life is known."""
    needed_min: float


def largest_batch(
    system: SystemData,
    shop_c: float,
    handling: Handling,
    *,
    vessel_kg: float = math.inf,
    mixer_kg: float = math.inf,
    mix_c: float | None = None,
) -> LargestBatch:
    """
    Return the largest batch that can be mixed and poured before its pot life is over.

    Parameters
    ----------
    system : SystemData
        Gives the pot life.
    shop_c, mix_c : float
        Temperatures, C; the mix has the shop's when left out.
    handling : Handling
        Times from first contact, pouring rate and safety share.
    vessel_kg, mixer_kg : float
        What vessel and mixer take, kg.

    Returns
    -------
    LargestBatch
        0 kg when mixing and carrying alone use up the pot life.

    Raises
    ------
    ValueError
        If nothing bounds the batch: no pot life known and neither vessel nor mixer given.
    """
    require.positive(**{k: v for k, v in {"vessel_kg": vessel_kg, "mixer_kg": mixer_kg}.items()
                        if not math.isinf(v)})  # fmt: skip
    hold_kg, holds = min(
        (vessel_kg, "vessel"),
        (mixer_kg, "mixer"),
        (system.pot_limit_kg, "mass that the pot life was read on"),
    )

    def spare_min(mass_kg: float) -> float:
        life = pot_life_min(system, shop_c, mass_kg, mix_c).value
        if life is None:
            return math.inf
        return life * handling.safety_fraction - handling.minutes(mass_kg)

    thin = pot_life_min(system, shop_c, None, mix_c)
    if thin.value is None:
        if math.isinf(hold_kg):
            raise ValueError(
                f"system {system.name} has no pot life, and neither vessel nor mixer is given; "
                "one of the three must bound the batch"
            )
        return LargestBatch(hold_kg, holds, thin, None, handling.minutes(hold_kg))
    spoken_for = handling.mix_min + handling.move_min
    poured_kg = (thin.value * handling.safety_fraction - spoken_for) * handling.pour_kg_min
    # A real batch lives no longer than a thin one, so this is an upper bracket.
    mass_kg, bound_by = min((poured_kg, "pot life"), (hold_kg, holds))
    if mass_kg <= 0:
        return LargestBatch(0.0, "pot life", thin, thin.value * handling.safety_fraction,
                            spoken_for)  # fmt: skip
    if spare_min(mass_kg) < -1e-9:
        mass_kg, bound_by = _bisect(spare_min, mass_kg), "pot life"
    life = pot_life_min(system, shop_c, max(mass_kg, 1e-3), mix_c)
    usable = None if life.value is None else life.value * handling.safety_fraction
    return LargestBatch(mass_kg, bound_by, life, usable, handling.minutes(mass_kg))


def _bisect(spare_min: Callable[[float], float], high_kg: float) -> float:
    low_kg = 0.0
    while high_kg - low_kg > 1e-3 * max(high_kg, 0.01):
        middle = (low_kg + high_kg) / 2
        if spare_min(middle) >= 0:
            low_kg = middle
        else:
            high_kg = middle
    return low_kg


def _computed_pot_life(
    system: SystemData, shop_c: float, mass_kg: float | None, mix_c: float | None
) -> float | None:
    if system.kinetics is None:
        return None
    if mass_kg is None or system.thermal is None:
        from planning.core.casting.kinetics import isothermal_time_min

        warm_c = warmer_c(shop_c, mix_c)
        return _finite(isothermal_time_min(system.kinetics, warm_c, system.pot_life_conversion))
    from planning.core.casting.bucket import solve_bucket

    return solve_bucket(system, mass_kg, shop_c, mix_c=mix_c).pot_life_min


def _gel(system: SystemData, shop_c: float) -> tuple[_Range, float | None]:
    require.temperature(shop_c=shop_c)
    printed = _shifted(system, system.datasheet.gel, shop_c)
    if system.kinetics is None:
        return printed, None
    from planning.core.casting.kinetics import isothermal_time_min

    return printed, _finite(isothermal_time_min(system.kinetics, shop_c, system.gel_conversion))


def _shifted(system: SystemData, point: TimePoint | None, to_c: float) -> _Range:
    if point is None:
        return None, None
    return shift_range(point.minutes, point.temp_c, to_c, system.energies_j_mol)


def _finite(minutes: float) -> float | None:
    # Past two months at one temperature the cure has stalled for any purpose of a shop.
    return minutes if minutes < 60 * 24 * 60 else None
