"""How slowly a casting follows what surrounds it, at most."""

from __future__ import annotations

import math

from planning.core.casting.faces import Face
from planning.core.casting.system import Thermal

_HEAT_CAPACITY_J_M3K, _CONDUCTIVITY_W_MK = 2.2e6, 0.4
"""Of a filled epoxy whose own are not known: slow to warm. Assumed, no source."""
_LEAST_FILM_W_M2K = 1.0
_LASTS, _PARTS = 5.0, 40


def soak_s(thermal: Thermal | None, depth_mm: float, top: Face) -> float:
    """Return the time in which a casting takes on 63 % of a change around it, through its top."""
    depth_m, film = depth_mm / 1000, top.film_w_m2k
    heat, k = _HEAT_CAPACITY_J_M3K, _CONDUCTIVITY_W_MK
    if thermal is not None:
        heat, k = thermal.density_kg_m3 * thermal.heat_capacity_j_kgk, thermal.conductivity_w_mk
    resistance = depth_m / (2 * k)
    if not math.isinf(film):
        resistance += 1 / max(film, _LEAST_FILM_W_M2K)
    return depth_m * heat * resistance


def soaked_record(
    thermal: Thermal | None, depth_mm: float, top: Face, mix_c: float, shop_c: float
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return hours and temperatures, C, of a mix that takes on the shop's and makes no heat."""
    share = [i * _LASTS / _PARTS for i in range(_PARTS + 1)]
    hours = tuple(soak_s(thermal, depth_mm, top) / 3600 * s for s in share)
    return hours, tuple(shop_c + (mix_c - shop_c) * math.exp(-s) for s in share)
