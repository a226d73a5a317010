"""How large a pot may be, and how a lift is divided over pots."""

from __future__ import annotations

import math

from planning.core.plan import Problem, plannable_min
from planning.core.problem import Condition, Mixer, System

GRAM = 1e-3


def mixers_for(problem: Problem, system: System) -> tuple[Mixer, ...]:
    """Return the mixers a system may be mixed in."""
    return tuple(m for m in problem.mixers if not m.systems or system.id in m.systems)


def poured_kg(system: System, mixed_kg: float) -> float:
    """Return what can be poured from `mixed_kg`, kg; the rest stays in the pot."""
    return (mixed_kg - system.residue_fixed_kg) / (1 + system.residue_share)


def mixed_kg(system: System, portions_kg: float) -> float:
    """Return what must be mixed to pour `portions_kg`, kg."""
    return portions_kg * (1 + system.residue_share) + system.residue_fixed_kg


def largest_by_vessel_kg(system: System, mixer: Mixer) -> float:
    """Return the most that can be poured from one pot, by mixer and vessel, kg."""
    return poured_kg(system, min(system.vessel_kg, mixer.largest_kg))


def largest_by_pot_life_kg(system: System, condition: Condition, pot_life_factor: float) -> float:
    """Return the most that one pot can pour into one tool before its pot life ends, kg."""
    minutes = plannable_min(condition.pot_life_min, pot_life_factor) - system.mix_min
    return max(0, minutes) * system.pour_rate_kg_min


def usable_batches_kg(problem: Problem, system: System) -> tuple[float, ...]:
    """
    Return the pot sizes a lift may be divided by, largest first.

    The first is what the largest mixer holds under the kindest condition; the others are needed
    where a warm day shortens the pot life. Rounded down to the gram.
    """
    vessels = [largest_by_vessel_kg(system, m) for m in mixers_for(problem, system)]
    if not vessels:
        return ()
    factor = problem.settings.pot_life_factor
    lives = {largest_by_pot_life_kg(system, c, factor) for c in system.conditions}
    sizes = {math.floor(min(max(vessels), life) / GRAM + 1e-6) * GRAM for life in lives}
    return tuple(sorted((round(s, 3) for s in sizes if s >= GRAM), reverse=True))


def pots_for(mass_kg: float, usable_kg: float) -> int:
    """Return the fewest pots of `usable_kg` that hold `mass_kg`."""
    return max(1, math.ceil(mass_kg / usable_kg - 1e-9))


def divide(
    mass_kg: float, usable_kg: float, least_kg: float = 0.0, equal: bool = False
) -> tuple[float, ...]:
    """
    Divide a lift over the fewest pots: full ones and a remainder, or equal ones.

    Parameters
    ----------
    mass_kg : float
        Mass of the lift, kg.
    usable_kg : float
        The most one pot can pour, kg.
    least_kg : float
        A remainder below this takes from the pot before it, kg.
    equal : bool
        Divide evenly.

    Returns
    -------
    tuple of float
        Portions in the order of pouring, kg; they add up to `mass_kg`.
    """
    count = pots_for(mass_kg, usable_kg)
    if count == 1:
        return (mass_kg,)
    if equal:
        share = round(mass_kg / count, 3)
        if share > usable_kg:
            share = mass_kg / count
        return (*[share] * (count - 1), mass_kg - share * (count - 1))
    rest = mass_kg - usable_kg * (count - 1)
    lacking = max(0.0, min(least_kg, usable_kg) - rest)
    if lacking:
        return (*[usable_kg] * (count - 2), usable_kg - lacking, rest + lacking)
    return (*[usable_kg] * (count - 1), rest)
