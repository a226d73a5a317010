"""What the planner may do with a system on a day: depths and clocks at the shop's temperature."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from planning.core.casting import require
from planning.core.casting.cure import demould_min
from planning.core.casting.faces import AIR_TOP, INSULATED, Face
from planning.core.casting.pot_life import gel_early_min, gel_late_min, pot_life_min
from planning.core.casting.stricter import Limit, greatest, least
from planning.core.casting.system import SystemData


@dataclass(frozen=True)
class DayLimits:
    """Limits of one system at one shop temperature; every figure names its basis."""

    shop_c: float
    deepest_lift_mm: Limit
    pot_life_min: Limit
    gel_early_min: Limit
    """Wet on wet: the next batch of one lift must be in by then."""
    gel_late_min: Limit
    attended_min: Limit
    """From pouring until the deepest allowed lift has peaked. On the basis 'datasheet' it is only
    the gel time, because without kinetics the peak is not known."""
    least_gap_min: Limit
    greatest_gap_min: Limit
    gaps_overlap: bool | None
    demould_min: Limit
    cautions: tuple[str, ...]


@lru_cache(maxsize=1024)
def depth_and_clock_limits(
    system: SystemData,
    shop_temp_c: float,
    base: Face = INSULATED,
    top: Face = AIR_TOP,
    *,
    depth_mm: float | None = None,
    batch_kg: float | None = None,
) -> DayLimits:
    """
    Return the depth limit and clocks of a system on a day.

    Parameters
    ----------
    system : SystemData
        Any of its data may be missing.
    shop_temp_c : float
        Temperature expected in the shop, C.
    base, top : Face
        What lifts stand on (unknown: insulated) and the open top.
    depth_mm : float, optional
        Depth at which attended time and gaps are wanted; the deepest allowed when left out.
    batch_kg : float, optional
        Mass of a usual batch for the pot life, kg.

    Returns
    -------
    DayLimits
        The stricter of datasheet and computed, each named; 'unknown' where there is neither.

    Raises
    ------
    ValueError
        If a figure is out of range.
    """
    require.temperature(shop_temp_c=shop_temp_c)
    deepest = _deepest(system, shop_temp_c, base, top)
    depth = deepest.value if depth_mm is None else depth_mm
    opens, closes, overlap = _gaps(system, depth, shop_temp_c, base, top)
    late = gel_late_min(system, shop_temp_c)
    demould = demould_min(system, shop_temp_c)
    return DayLimits(
        shop_c=shop_temp_c,
        deepest_lift_mm=deepest,
        pot_life_min=pot_life_min(system, shop_temp_c, batch_kg),
        gel_early_min=gel_early_min(system, shop_temp_c),
        gel_late_min=late,
        attended_min=_attended(system, depth, shop_temp_c, base, top, late),
        least_gap_min=opens,
        greatest_gap_min=closes,
        gaps_overlap=overlap,
        demould_min=demould,
        cautions=tuple(_cautions(system, shop_temp_c, deepest, opens, overlap, demould)),
    )


def _deepest(system: SystemData, shop_c: float, base: Face, top: Face) -> Limit:
    printed = system.datasheet.deepest_lift_mm
    if not system.computable:
        return least(printed, None)
    from planning.core.casting.exotherm import deepest_safe_lift_mm

    return least(printed, deepest_safe_lift_mm(system, shop_c, system.peak_limit_c, base, top))


def _gaps(
    system: SystemData, depth_mm: float | None, shop_c: float, base: Face, top: Face
) -> tuple[Limit, Limit, bool | None]:
    from planning.core.casting.gaps import lift_window

    # Without a depth the datasheet's own gaps remain, which do not depend on it.
    window = lift_window(system, depth_mm or 1.0, shop_c, base, top)
    return window.opens_h.times(60), window.closes_h.times(60), window.overlap


def _attended(
    system: SystemData, depth_mm: float | None, shop_c: float, base: Face, top: Face, late: Limit
) -> Limit:
    if not system.computable or not depth_mm:
        return greatest(late.datasheet, None)
    from planning.core.casting.exotherm import solve_lift

    peak_min = 60 * solve_lift(system, depth_mm, shop_c, base, top).peak_h
    return Limit(peak_min, "computed", None, peak_min)


def _cautions(
    system: SystemData,
    shop_c: float,
    deepest: Limit,
    opens: Limit,
    overlap: bool | None,
    demould: Limit,
) -> list[str]:
    said = []
    if deepest.value is None:
        said.append("No depth limit is known: neither a datasheet figure nor a computed one.")
    elif deepest.value <= 0:
        said.append("The shop is too warm: no depth stays under the system's peak cap.")
    if system.computable and system.peak_cap_c is None:
        said.append(
            f"No peak limit is stated for this system; {system.peak_limit_c:g} °C is taken."
        )
    if system.kinetics is not None and system.kinetics.beyond_records(shop_c):
        low, high = system.kinetics.fitted_from_c, system.kinetics.fitted_to_c
        said.append(
            f"The kinetics were fitted to records between {low:g} and {high:g} °C; {shop_c:g} °C "
            "is far outside, so trust no computed time before a logged pour has confirmed it."
        )
    if opens.value is None and opens.basis == "computed":
        said.append("At this depth no wait keeps the next lift under the system's peak cap.")
    elif overlap is False:
        said.append(
            "The next lift stops bonding before it may be poured: abrade, or pour thinner."
        )
    if demould.value is None and demould.basis == "computed":
        said.append(
            "At this temperature the cure stalls before demould; the casting needs warmth."
        )
    if system.largest_pot_kg is None and math.isfinite(system.pot_limit_kg):
        said.append(
            f"No pot is planned above {system.pot_limit_kg:g} kg, five times the mass that the "
            "pot life was read on; tell the largest pot the shop has poured to plan larger ones."
        )
    if not system.computable:
        said.append(
            "Datasheet points only, shifted by the stricter of two activation energies."
            if system.e_j_mol is None
            else "Datasheet points only, shifted by one activation energy."
        )
    return said
