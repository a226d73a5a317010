"""How warm a mix may be: it must last until it is poured, and its lifts must stay cool enough."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from planning.core.casting.cautions import WARM_K
from planning.core.casting.faces import Face
from planning.core.casting.system import SystemData

HOTTEST_C = 60
"""No mix is let go warmer than this. Common practice, no source."""


@dataclass(frozen=True)
class LiftOfMix:
    """A lift that the mix goes into: how deep, and what surrounds it, each way that may be."""

    depth_mm: float
    faces: tuple[tuple[Face, Face], ...]


@dataclass(frozen=True)
class WarmestMix:
    """The warmest that a mix may be, whole C, and what limits it there."""

    celsius: int
    bound_by: str
    """'pot life', 'lift', 'data sheet' (a warmer lift cannot be computed) or 'usual limit'."""
    lift: int | None = None
    """Which of the lifts, counted from 0, where a lift limits it."""


def warmest_mix(
    system: SystemData,
    shop_c: float,
    needed_min: float,
    life_min: Callable[[int], float | None],
    lifts: Sequence[LiftOfMix],
) -> WarmestMix | None:
    """
    Return how warm a mix may be at first contact.

    Parameters
    ----------
    system : SystemData
        With kinetics, lifts are computed; without, its printed depth holds near its temperature.
    shop_c : float
        Temperature expected in the shop, C.
    needed_min : float
        From first contact until the pot is empty, min.
    life_min : callable
        Pot life at a whole temperature of the mix, C, in min; None where it is not known.
    lifts : sequence of LiftOfMix
        What it is poured into.

    Returns
    -------
    WarmestMix or None
        None where not even a mix as warm as the shop may be.
    """
    coolest = math.floor(shop_c)
    if _limit(system, shop_c, needed_min, life_min, lifts, coolest) is not None:
        return None
    good, bad = coolest, max(HOTTEST_C, coolest) + 1
    bound: tuple[str, int | None] = ("usual limit", None)
    while bad - good > 1:
        middle = (good + bad) // 2
        found = _limit(system, shop_c, needed_min, life_min, lifts, middle)
        if found is None:
            good = middle
        else:
            bad, bound = middle, found
    return WarmestMix(good, *bound)


def _limit(
    system: SystemData,
    shop_c: float,
    needed_min: float,
    life_min: Callable[[int], float | None],
    lifts: Sequence[LiftOfMix],
    mix_c: int,
) -> tuple[str, int | None] | None:
    """Return what a mix of a temperature breaks, or None."""
    life = life_min(mix_c)
    if life is not None and life < needed_min:
        return "pot life", None
    if not system.computable:
        point = system.datasheet.pot_life
        too_warm = point is not None and mix_c > max(point.temp_c + WARM_K, shop_c)
        return ("data sheet", None) if too_warm else None
    for number, lift in enumerate(lifts):
        if any(peak_c(system, lift.depth_mm, shop_c, base, top, mix_c) > system.peak_limit_c
               for base, top in lift.faces):  # fmt: skip
            return "lift", number
    return None


def peak_c(
    system: SystemData, depth_mm: float, shop_c: float, base: Face, top: Face, mix_c: float | None
) -> float:
    """Return the hottest a lift gets, C, by the same cells as the plan's deepest lift."""
    from planning.core.casting.exotherm import search_cells, solve_lift

    cells = search_cells(system)
    return solve_lift(system, depth_mm, shop_c, base, top, mix_c=mix_c, cells=cells).peak_c
