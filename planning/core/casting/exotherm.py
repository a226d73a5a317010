"""
Temperature of a lift: one-dimensional conduction with cure, and the deepest lift that is safe.

An estimate for planning, not a safety device. Not in the model: edges, shrinkage, radiation,
moisture, mixing heat. One dimension is high for narrow pours, but it is not on the safe side over
thick foam or in a corner that traps heat.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from planning.core.casting import require
from planning.core.casting.faces import Face
from planning.core.casting.lift_curve import LiftCurve, known
from planning.core.casting.lift_stack import LiftStack, cures_as_front, enough_cells
from planning.core.casting.system import SystemData

Array = NDArray[np.float64]

DEEPEST_MM = 400.0
_SEARCH_CELLS = 30


@lru_cache(maxsize=512)
def solve_lift(
    system: SystemData,
    depth_mm: float,
    shop_c: float,
    base: Face,
    top: Face,
    *,
    mix_c: float | None = None,
    cured_below_mm: float = 0.0,
    cells: int | None = None,
) -> LiftCurve:
    """
    Compute one lift from pouring until it has peaked and gelled.

    Parameters
    ----------
    system : SystemData
        With kinetics and heat properties.
    depth_mm : float
        Depth of the lift, mm.
    shop_c : float
        Temperature of the shop, C.
    base, top : Face
        How the lift loses heat below and above; a face may have surroundings of its own.
    mix_c : float, optional
        Temperature of the mix when poured, C; the shop's when left out.
    cured_below_mm : float
        Depth of cured casting of the same system between the lift and `base`, mm.
    cells : int, optional
        Cells over the lift; enough for the system and depth when left out. On a filled lift 20
        are within 0.02 C of 160.

    Returns
    -------
    LiftCurve
        Peak, gel times and curves.

    Raises
    ------
    ValueError
        If the system has no kinetics or a figure is out of range.

    See Also
    --------
    solve_lifts : With earlier lifts below that are still warm and curing.

    References
    ----------
    .. [1] Rows P128-P143 of the reference cases: a separate explicit code with face nodes agrees
       within 0.3 %. Basis: computed here on an invented system, never against a casting.
    """
    if cured_below_mm:
        require.positive(cured_below_mm=cured_below_mm)
    if cells is None:
        cells = enough_cells(system, depth_mm)
    stack = LiftStack(system, shop_c, base, top, mix_c, cells)
    if cured_below_mm:
        stack.add_cured(cured_below_mm)
    stack.pour(depth_mm)
    return stack.settle()


@lru_cache(maxsize=512)
def solve_lifts(
    system: SystemData,
    depths_mm: tuple[float, ...],
    gaps_h: tuple[float, ...],
    shop_c: float,
    base: Face,
    top: Face,
    *,
    mix_c: float | None = None,
    cells: int = 28,
) -> LiftCurve:
    """
    Compute the last of several lifts, the earlier ones below it with the heat they still hold.

    Parameters
    ----------
    system : SystemData
        With kinetics and heat properties.
    depths_mm : tuple of float, shape (n,)
        Depths from the bottom up, mm.
    gaps_h : tuple of float, shape (n-1,)
        Hours from pouring each lift to pouring the next.
    shop_c, base, top, mix_c, cells
        As for `solve_lift`; `cells` are for each lift.

    Returns
    -------
    LiftCurve
        Of the last lift; `reheated_below_c` is the hottest any lower lift gets after it.

    Raises
    ------
    ValueError
        If there is not one gap fewer than lifts, or a figure is out of range.
    """
    if len(gaps_h) != len(depths_mm) - 1 or not depths_mm:
        raise ValueError(
            f"{len(depths_mm)} lifts and {len(gaps_h)} gaps; there must be one gap less than lifts"
        )
    stack = LiftStack(system, shop_c, base, top, mix_c, cells)
    stack.pour(depths_mm[0])
    for gap_h, depth_mm in zip(gaps_h, depths_mm[1:], strict=True):
        stack.wait(gap_h)
        stack.pour(depth_mm)
    return stack.settle()


@lru_cache(maxsize=512)
def deepest_safe_lift_mm(
    system: SystemData,
    shop_c: float,
    cap_c: float,
    base: Face,
    top: Face,
    *,
    mix_c: float | None = None,
    cured_below_mm: float = 0.0,
) -> float:
    """
    Return the depth at which a lift's peak just reaches `cap_c`, mm.

    Returns
    -------
    float
        0 when even a skin of resin is hotter (shop at or over the cap); `DEEPEST_MM` when no lift
        up to that depth reaches the cap.

    Raises
    ------
    ValueError
        As for `solve_lift`.

    References
    ----------
    .. [1] Rows P144-P147 of the reference cases. Basis: computed here on an invented system.
    """
    from scipy.optimize import brentq

    require.temperature(cap_c=cap_c)

    def over(depth_mm: float) -> float:
        curve = solve_lift(
            system, depth_mm, shop_c, base, top,
            mix_c=mix_c, cured_below_mm=cured_below_mm, cells=cells,
        )  # fmt: skip
        return curve.peak_c - cap_c

    cells = search_cells(system)
    cool_mm, hot_mm = 1.0, 16.0
    around_c = [shop_c, *(face.around_c for face in (base, top) if face.around_c is not None)]
    if max(around_c) >= cap_c or over(cool_mm) >= 0:
        return 0.0
    while over(hot_mm) < 0:
        if hot_mm >= DEEPEST_MM:
            return DEEPEST_MM
        cool_mm, hot_mm = hot_mm, min(2 * hot_mm, DEEPEST_MM)
    return float(brentq(over, cool_mm, hot_mm, xtol=0.02))


def search_cells(system: SystemData) -> int | None:
    """Return how many cells a search over many lifts takes: fewer, where few are as good."""
    return None if cures_as_front(known(system)[1]) else _SEARCH_CELLS


def lift_temps_c(
    system: SystemData,
    depth_mm: float,
    shop_c: float,
    base: Face,
    top: Face,
    height_mm: float,
    times_h: Sequence[float],
    *,
    mix_c: float | None = None,
    cells: int = 30,
) -> Array:
    """
    Return the temperature a probe would read in a lift, C.

    Parameters
    ----------
    system, depth_mm, shop_c, base, top, mix_c, cells
        As for `solve_lift`.
    height_mm : float
        Height of the probe above the base of the lift, mm.
    times_h : sequence of float, shape (n,)
        Rising hours from pouring.

    Returns
    -------
    numpy.ndarray of float, shape (n,)
        Temperatures, C.

    Raises
    ------
    ValueError
        If the probe is outside the lift or a figure is out of range.
    """
    require.within(0.0, depth_mm, height_mm=height_mm)
    stack = LiftStack(system, shop_c, base, top, mix_c, cells)
    stack.pour(depth_mm)
    return stack.probe(height_mm, times_h)
