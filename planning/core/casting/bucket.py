"""
A mixed batch left in its bucket: how long it can be used and how hot it would get.

The bucket is taken as a sphere with the bucket's volume over surface, losing heat through its wall
and the air. The two questions are kept apart: mass hardly shortens the pot life of a slow filled
system, but it decides how hot a forgotten pot gets. No mass law is invented.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from planning.core.casting import require
from planning.core.casting.arrhenius import KELVIN
from planning.core.casting.conduction import History, march, radial
from planning.core.casting.faces import Face
from planning.core.casting.kinetics import RateLaw, isothermal_time_min
from planning.core.casting.lift_curve import known, reaches, top_of
from planning.core.casting.system import SystemData

WALL_AND_AIR = Face(7.1)
"""3 mm of plastic and still air, W/m2K. Assumed, no source."""

SHELLS = 60
_READINGS = 960
_LONGEST_S = 14 * 86_400.0


@dataclass(frozen=True)
class BucketCurve:
    """A batch in its bucket from first contact on."""

    mass_kg: float
    shop_c: float
    pot_life_min: float | None
    """None: neither the conversion nor the core temperature is ever reached."""
    ended_by: str
    """'conversion', 'core temperature' or ''."""
    peak_core_c: float
    peak_min: float
    times_min: tuple[float, ...]
    core_c: tuple[float, ...]


def bucket_diameter_mm(mass_kg: float, density_kg_m3: float) -> float:
    """
    Return the diameter of a bucket filled to a depth equal to it, mm.

    Examples
    --------
    >>> round(bucket_diameter_mm(2.5, 1700.0), 2)
    123.25
    """
    require.positive(mass_kg=mass_kg, density_kg_m3=density_kg_m3)
    return 1000 * math.cbrt(4 * mass_kg / density_kg_m3 / math.pi)


@lru_cache(maxsize=512)
def solve_bucket(
    system: SystemData,
    mass_kg: float,
    shop_c: float,
    *,
    mix_c: float | None = None,
    wall: Face = WALL_AND_AIR,
    shells: int = SHELLS,
) -> BucketCurve:
    """
    Compute a batch that stays in its bucket.

    Parameters
    ----------
    system : SystemData
        With kinetics and heat properties; its `pot_life_conversion` and `pot_life_core_c` end the
        pot life, whichever the core reaches first.
    mass_kg : float
        Mass of the batch, kg.
    shop_c : float
        Temperature of the shop, C.
    mix_c : float, optional
        Temperature of the mix at first contact, C; the shop's when left out.
    wall : Face
        Heat loss through the bucket's wall.
    shells : int
        Shells from the core outwards.

    Returns
    -------
    BucketCurve
        Pot life and the peak a forgotten pot would reach.

    Raises
    ------
    ValueError
        If the system has no kinetics or a figure is out of range.

    References
    ----------
    .. [1] Rows P151-P157 of the reference cases; one lumped temperature agrees within 1-2 % on
       pot life. Basis: computed here on an invented system.
    """
    kinetics, thermal = known(system)
    require.positive(mass_kg=mass_kg)
    require.within(0.0, 2_000.0, mass_kg=mass_kg)
    require.temperature(shop_c=shop_c)
    start_k = (shop_c if mix_c is None else mix_c) + KELVIN
    radius_m = bucket_diameter_mm(mass_kg, thermal.density_kg_m3) / 2000
    grid = radial("sphere", radius_m, shells, thermal, wall)
    law = RateLaw(kinetics, 1, shells)
    cold_c = min(shop_c, start_k - KELVIN)
    to_gel = isothermal_time_min(kinetics, cold_c, system.gel_conversion)
    span_s = min(max(66 * to_gel, 3600.0), _LONGEST_S)
    # Half the readings lie in the first fifth: a quick pot is over long before it would gel cold.
    times = span_s * np.unique(
        np.concatenate([np.linspace(0, 0.2, _READINGS // 2), np.linspace(0.2, 1, _READINGS // 2)])
    )
    history = march(
        grid, law, thermal.adiabatic_rise_k, shop_c + KELVIN,
        start_k, kinetics.start_conversion, times,
    )  # fmt: skip
    return _curve(system, mass_kg, shop_c, history)


def _curve(system: SystemData, mass_kg: float, shop_c: float, history: History) -> BucketCurve:
    minutes = history.times_s / 60
    core_c = history.temps_k[:, 0] - KELVIN
    by_cure = reaches(minutes, history.conversions[:, 0], system.pot_life_conversion)
    by_heat = reaches(minutes, core_c, system.pot_life_core_c)
    ends = [
        (t, why)
        for t, why in ((by_cure, "conversion"), (by_heat, "core temperature"))
        if t is not None
    ]
    pot_life_min, ended_by = min(ends) if ends else (None, "")
    peak_min, peak_core_c = top_of(minutes, core_c)
    shown = np.unique(np.linspace(0, len(minutes) - 1, 121).astype(int))
    return BucketCurve(
        mass_kg, shop_c, pot_life_min, ended_by, peak_core_c, peak_min,
        tuple(float(t) for t in minutes[shown]), tuple(float(c) for c in core_c[shown]),
    )  # fmt: skip
