"""
The two clocks between lifts.

The next lift may go on once the one below has gelled and is cool enough to bear its heat; it bonds
only while the surface below is not yet cured. Where the second clock runs out before the first,
people must be told, and offered thinner lifts, waiting and abrading, or a cooler shop.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

from planning.core.casting import require
from planning.core.casting.arrhenius import shift_range
from planning.core.casting.exotherm import solve_lift, solve_lifts
from planning.core.casting.faces import Face
from planning.core.casting.kinetics import isothermal_time_min
from planning.core.casting.lift_curve import LiftCurve
from planning.core.casting.pot_life import colder_c, warmer_c
from planning.core.casting.stricter import Limit, greatest, least
from planning.core.casting.system import SystemData, TimePoint

LONGEST_WAIT_H = 96.0
_COLDEST_SHOP_C, _MOST_COOLING_K = 12.0, 12.0
_THINNEST_MM = 5.0


@dataclass(frozen=True)
class Offer:
    """One way out when the clocks do not overlap."""

    kind: str
    """'thinner lifts', 'wait and abrade' or 'cooler shop'."""
    words: str
    depth_mm: float | None = None
    wait_h: float | None = None
    shop_c: float | None = None


@dataclass(frozen=True)
class LiftWindow:
    """When the next lift may be poured, in hours from pouring the one below."""

    depth_mm: float
    shop_c: float
    opens_h: Limit
    """The later of gelled, cooled enough and the datasheet's least gap."""
    gelled_h: float | None
    cooled_h: float | None
    """None where it is computed: no wait up to `LONGEST_WAIT_H` keeps it cool enough."""
    closes_h: Limit
    """The earlier of bonding no longer and the datasheet's greatest gap."""
    overlap: bool | None
    """None when one of the two clocks is not known."""
    never_cools: bool


@lru_cache(maxsize=512)
def lift_window(
    system: SystemData,
    depth_mm: float,
    shop_c: float,
    base: Face,
    top: Face,
    *,
    mix_c: float | None = None,
) -> LiftWindow:
    """
    Return the two clocks between two lifts of equal depth.

    Parameters
    ----------
    system : SystemData
        Datasheet gaps, kinetics with a peak cap and a bond conversion, or some of these.
    depth_mm : float
        Depth of both lifts, mm.
    shop_c : float
        Temperature of the shop, C.
    base, top : Face
        What the lower lift stands on, and the open top.
    mix_c : float, optional
        Temperature of both mixes when poured, C; the shop's when left out. Printed gaps are
        shifted to the coldest of shop, mix and mould for the opening, to the warmest for the
        closing.

    Returns
    -------
    LiftWindow
        Both clocks, each with its basis, and whether they overlap.

    Raises
    ------
    ValueError
        If a figure is out of range.

    References
    ----------
    .. [1] Rows P148-P150 of the reference cases for the heat of the second lift. That the next
       lift goes on a gelled, cooled and still tacky one is common practice, no source.
    """
    require.positive(depth_mm=depth_mm)
    require.temperature(shop_c=shop_c)
    sheet, others_c = system.datasheet, (mix_c, base.around_c, top.around_c)
    _, printed_opens = _hours(system, sheet.least_gap, colder_c(shop_c, *others_c))
    printed_closes, _ = _hours(system, sheet.greatest_gap, warmer_c(shop_c, *others_c))
    gelled_h, cooled_h, never = _computed_opening(system, depth_mm, shop_c, base, top, mix_c)
    known = [h for h in (gelled_h, cooled_h) if h is not None]
    opens_h = greatest(printed_opens, max(known) if known else None)
    if never:
        opens_h = Limit(None, "computed", printed_opens, None)
    closes_h = least(printed_closes, _bonds_until_h(system, depth_mm, shop_c, base, top, mix_c))
    return LiftWindow(
        depth_mm, shop_c, opens_h, gelled_h, cooled_h, closes_h,
        _overlap(opens_h, closes_h, never), never,
    )  # fmt: skip


@lru_cache(maxsize=128)
def ways_out(
    system: SystemData, depth_mm: float, shop_c: float, base: Face, top: Face
) -> tuple[Offer, ...]:
    """
    Return what would let the next lift bond and stay cool, when the two clocks do not overlap.

    Returns
    -------
    tuple of Offer
        Empty when the clocks overlap or are not known. The deepest equal lifts that overlap, the
        wait after which abrading is needed, and the warmest shop that overlaps; a way that does
        not exist is left out.
    """
    window = lift_window(system, depth_mm, shop_c, base, top)
    if window.overlap is not False:
        return ()
    offers = []
    thinner_mm = _deepest_overlapping(system, depth_mm, shop_c, base, top)
    if thinner_mm is not None:
        offers.append(Offer(
            "thinner lifts",
            f"In lifts of {math.floor(thinner_mm)} mm the next one can go on while the last still "
            "bonds.",
            depth_mm=thinner_mm,
        ))  # fmt: skip
    if window.opens_h.value is not None:
        offers.append(Offer(
            "wait and abrade",
            f"Wait {window.opens_h.value:.1f} h from pouring, then wash off blush, abrade, clean "
            "and pour.",
            wait_h=window.opens_h.value,
        ))  # fmt: skip
    cooler_c = _warmest_overlapping(system, depth_mm, shop_c, base, top)
    if cooler_c is not None:
        offers.append(Offer(
            "cooler shop",
            f"With the shop at {cooler_c:.0f} C the two clocks overlap at this depth.",
            shop_c=cooler_c,
        ))  # fmt: skip
    return tuple(offers)


def _computed_opening(
    system: SystemData,
    depth_mm: float,
    shop_c: float,
    base: Face,
    top: Face,
    mix_c: float | None,
) -> tuple[float | None, float | None, bool]:
    """Return hours to gelled and to cooled enough, and whether it never cools enough."""
    if not system.computable:
        return None, None, False
    lower = solve_lift(system, depth_mm, shop_c, base, top, mix_c=mix_c)
    if lower.gel_top_h is None:
        return None, None, True
    cooled_h = _first_cool_gap_h(system, lower, system.peak_limit_c, base, top, mix_c)
    return lower.gel_top_h, cooled_h, cooled_h is None


def _first_cool_gap_h(
    system: SystemData,
    lower: LiftCurve,
    cap_c: float,
    base: Face,
    top: Face,
    mix_c: float | None,
) -> float | None:
    from scipy.optimize import brentq

    def over_k(gap_h: float) -> float:
        return _hottest_c(system, lower, gap_h, base, top, mix_c) - cap_c

    soonest = lower.gel_top_h or 0.0
    if over_k(soonest) <= 0:
        return soonest
    if over_k(LONGEST_WAIT_H) > 0:
        return None
    return float(brentq(over_k, soonest, LONGEST_WAIT_H, xtol=0.03))


def _hottest_c(
    system: SystemData,
    lower: LiftCurve,
    gap_h: float,
    base: Face,
    top: Face,
    mix_c: float | None = None,
) -> float:
    """Return the hottest that either of two equal lifts gets once the upper one is poured."""
    depths_mm = (lower.depth_mm, lower.depth_mm)
    both = solve_lifts(system, depths_mm, (gap_h,), lower.shop_c, base, top, mix_c=mix_c)
    return max(both.peak_c, both.reheated_below_c or -math.inf)


def _bonds_until_h(
    system: SystemData,
    depth_mm: float,
    shop_c: float,
    base: Face,
    top: Face,
    mix_c: float | None = None,
) -> float | None:
    if system.bond_conversion is None or system.kinetics is None:
        return None
    if system.thermal is None:
        warm_c = warmer_c(shop_c, mix_c, base.around_c, top.around_c)
        minutes = isothermal_time_min(system.kinetics, warm_c, system.bond_conversion)
        return minutes / 60 if math.isfinite(minutes) else None
    # The surface's own warmth counts: a lift's skin cures faster than the shop would make it.
    curve = solve_lift(
        replace(system, gel_conversion=system.bond_conversion),
        depth_mm,
        shop_c,
        base,
        top,
        mix_c=mix_c,
    )
    return curve.gel_top_h


def _overlap(opens_h: Limit, closes_h: Limit, never: bool) -> bool | None:
    if never:
        return False
    if opens_h.value is None or closes_h.value is None:
        return None
    return opens_h.value <= closes_h.value


def _overlaps(system: SystemData, depth_mm: float, shop_c: float, base: Face, top: Face) -> bool:
    """
    Say whether the clocks overlap without finding when the first one runs out.

    They do when a lift poured at the last moment that bonds goes on a gelled one and stays under
    the cap: one solve in place of a search.
    """
    sheet = system.datasheet
    closes_h = least(
        _hours(system, sheet.greatest_gap, shop_c)[0],
        _bonds_until_h(system, depth_mm, shop_c, base, top),
    ).value
    _, opens_h = _hours(system, sheet.least_gap, shop_c)
    if closes_h is None or (opens_h is not None and opens_h > closes_h):
        return False
    if not system.computable:
        return opens_h is not None
    lower = solve_lift(system, depth_mm, shop_c, base, top)
    if lower.gel_top_h is None or lower.gel_top_h > closes_h:
        return False
    return _hottest_c(system, lower, closes_h, base, top) <= system.peak_limit_c


def _deepest_overlapping(
    system: SystemData, depth_mm: float, shop_c: float, base: Face, top: Face
) -> float | None:
    def fits(depth: float) -> bool:
        return _overlaps(system, depth, shop_c, base, top)

    # A thin lift stays cool but gels late, so the depths that fit are a band: look from the top.
    step = depth_mm / 12
    high, low = depth_mm, depth_mm - step
    while low >= _THINNEST_MM and not fits(low):
        high, low = low, low - step
    if low < _THINNEST_MM:
        return None
    while high - low > 1.0:
        middle = (low + high) / 2
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low


def _warmest_overlapping(
    system: SystemData, depth_mm: float, shop_c: float, base: Face, top: Face
) -> float | None:
    trial = math.ceil(shop_c) - 1.0
    coolest = max(_COLDEST_SHOP_C, shop_c - _MOST_COOLING_K)
    while trial >= coolest:
        if _overlaps(system, depth_mm, trial, base, top):
            return trial
        trial -= 1.0
    return None


def _hours(
    system: SystemData, point: TimePoint | None, shop_c: float
) -> tuple[float, float] | tuple[None, None]:
    """Return the shortest and longest that a printed gap may be in this shop."""
    if point is None:
        return None, None
    hours = point.minutes / 60
    return shift_range(hours, point.temp_c, shop_c, system.energies_j_mol)
