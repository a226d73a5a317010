"""How warm a mix may be: it must last until it is poured, and its lifts must stay cool enough."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

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
    found: WarmestMix | None = WarmestMix(max(HOTTEST_C, coolest), "usual limit")
    # The pot life is asked first: it is cheap, and what it rules out needs no lift computed.
    lasts = partial(_lasts, life_min, needed_min)
    found = _lowered(found, coolest, WarmestMix(0, "pot life"), lasts)
    if not system.computable:
        point = system.datasheet.pot_life
        if point is not None:
            known = partial(_is_known, max(point.temp_c + WARM_K, shop_c))
            found = _lowered(found, coolest, WarmestMix(0, "data sheet"), known)
        return found
    for number, lift in enumerate(lifts):
        cool = partial(_stays_cool, system, shop_c, lift)
        found = _lowered(found, coolest, WarmestMix(0, "lift", number), cool)
    return found


def _lowered(
    found: WarmestMix | None, coolest: int, bound: WarmestMix, holds: Callable[[int], bool]
) -> WarmestMix | None:
    """Return the warmest up to `found` at which something holds, with what bounds it then."""
    if found is None or holds(found.celsius):
        return found
    if not holds(coolest):
        return None
    good, bad = coolest, found.celsius
    while bad - good > 1:
        middle = (good + bad) // 2
        good, bad = (middle, bad) if holds(middle) else (good, middle)
    return replace(bound, celsius=good)


def _lasts(life_min: Callable[[int], float | None], needed_min: float, mix_c: int) -> bool:
    life = life_min(mix_c)
    return life is None or life >= needed_min


def _is_known(most_c: float, mix_c: int) -> bool:
    return mix_c <= most_c


def _stays_cool(system: SystemData, shop_c: float, lift: LiftOfMix, mix_c: int) -> bool:
    return all(
        peak_c(system, lift.depth_mm, shop_c, base, top, mix_c) <= system.peak_limit_c
        for base, top in lift.faces
    )


def peak_c(
    system: SystemData, depth_mm: float, shop_c: float, base: Face, top: Face, mix_c: float | None
) -> float:
    """Return the hottest a lift gets, C, by the same cells as the plan's deepest lift."""
    from planning.core.casting.exotherm import search_cells, solve_lift

    cells = search_cells(system)
    return solve_lift(system, depth_mm, shop_c, base, top, mix_c=mix_c, cells=cells).peak_c
