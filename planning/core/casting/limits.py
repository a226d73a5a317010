"""What the planner may do with a system on a day: depths and clocks at the shop's temperature."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache, reduce
from typing import TYPE_CHECKING

from planning.core.casting import require
from planning.core.casting.cure import cure_clock
from planning.core.casting.faces import AIR_TOP, INSULATED, Face
from planning.core.casting.pot_life import (
    colder_c,
    gel_early_min,
    gel_late_min,
    planned_pot_life_min,
    warmer_c,
)
from planning.core.casting.soaking import soaked_record
from planning.core.casting.stricter import Limit, earlier, greatest, later, least, never
from planning.core.casting.system import SystemData

if TYPE_CHECKING:
    from planning.core.casting.gaps import LiftWindow


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


@lru_cache(maxsize=1024)
def depth_and_clock_limits(
    system: SystemData,
    shop_temp_c: float,
    base: Face = INSULATED,
    top: Face = AIR_TOP,
    *,
    depth_mm: float | None = None,
    batch_kg: float | None = None,
    mix_c: float | None = None,
) -> DayLimits:
    """
    Return the depth limit and clocks of a system on a day.

    A mix planned warmer or colder than the shop may turn out to have the shop's temperature, so
    every limit is then the stricter of the two: a warm mix makes no wait shorter, and a cold one
    no lift deeper.

    Parameters
    ----------
    system : SystemData
        Any of its data may be missing.
    shop_temp_c : float
        Temperature expected in the shop, C.
    base, top : Face
        What lifts stand on (unknown: insulated) and the open top; a heated or cooled mould has a
        temperature of its own.
    depth_mm : float, optional
        Depth at which attended time and gaps are wanted; the deepest allowed when left out.
    batch_kg : float, optional
        Mass of a usual batch for the pot life, kg.
    mix_c : float, optional
        Planned temperature of the mix, C; the shop's when left out.

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
    others_c = (mix_c, base.around_c, top.around_c)
    mixes = (None,) if mix_c is None or mix_c == shop_temp_c else (None, mix_c)
    cases = [_Case(system, shop_temp_c, base, top, mix) for mix in mixes]
    deepest = reduce(earlier, [case.deepest() for case in cases])
    depth = deepest.value if depth_mm is None else depth_mm
    windows = [case.window(depth) for case in cases]
    opens = reduce(later, [window.opens_h.times(60) for window in windows])
    closes = reduce(earlier, [window.closes_h.times(60) for window in windows])
    overlap = _overlap(opens, closes)
    demould = reduce(later, [case.demould(depth) for case in cases])
    return DayLimits(
        shop_c=shop_temp_c,
        deepest_lift_mm=deepest,
        pot_life_min=planned_pot_life_min(system, shop_temp_c, batch_kg, mix_c),
        gel_early_min=gel_early_min(system, shop_temp_c, warmer_c(shop_temp_c, *others_c)),
        gel_late_min=gel_late_min(system, shop_temp_c, colder_c(shop_temp_c, *others_c)),
        attended_min=reduce(later, [case.attended(depth) for case in cases]),
        least_gap_min=opens,
        greatest_gap_min=closes,
        gaps_overlap=overlap,
        demould_min=demould,
    )


def deepest_lift(
    system: SystemData, shop_c: float, base: Face, top: Face, mix_c: float | None = None
) -> Limit:
    """Return the deepest lift, mm: the stricter of the data sheet's and the computed one."""
    printed = system.datasheet.deepest_lift_mm
    if not system.computable:
        return least(printed, None)
    from planning.core.casting.exotherm import deepest_safe_lift_mm

    safe_mm = deepest_safe_lift_mm(system, shop_c, system.peak_limit_c, base, top, mix_c=mix_c)
    return least(printed, safe_mm)


@dataclass(frozen=True)
class _Case:
    """A system in a shop on what it stands on, its mix as warm as the shop or otherwise."""

    system: SystemData
    shop_c: float
    base: Face
    top: Face
    mix_c: float | None

    def deepest(self) -> Limit:
        return deepest_lift(self.system, self.shop_c, self.base, self.top, self.mix_c)

    def window(self, depth_mm: float | None) -> LiftWindow:
        from planning.core.casting.gaps import lift_window

        # Without a depth the datasheet's own gaps remain, which do not depend on it.
        return lift_window(
            self.system, depth_mm or 1.0, self.shop_c, self.base, self.top, mix_c=self.mix_c
        )

    def attended(self, depth_mm: float | None) -> Limit:
        if not self.system.computable or not depth_mm:
            cold_c = colder_c(self.shop_c, self.mix_c, self.base.around_c, self.top.around_c)
            late = gel_late_min(self.system, self.shop_c, cold_c)
            return greatest(late.datasheet, None)
        from planning.core.casting.exotherm import solve_lift

        peak_min = (
            60
            * solve_lift(
                self.system, depth_mm, self.shop_c, self.base, self.top, mix_c=self.mix_c
            ).peak_h
        )
        return Limit(peak_min, "computed", None, peak_min)

    def demould(self, depth_mm: float | None) -> Limit:
        """Return the time to demould; a cold mix takes on the shop's temperature slowly."""
        around_c = colder_c(self.shop_c, self.base.around_c, self.top.around_c)
        hours: tuple[float, ...] = (0.0,)
        temps_c: tuple[float, ...] = (around_c,)
        if self.mix_c is not None and self.mix_c < around_c and depth_mm:
            hours, temps_c = soaked_record(
                self.system.thermal, depth_mm, self.top, self.mix_c, around_c
            )
        return cure_clock(self.system, hours, temps_c, around_c).due_h.times(60)


def _overlap(opens: Limit, closes: Limit) -> bool | None:
    if never(opens):
        return False
    if opens.value is None or closes.value is None:
        return None
    return opens.value <= closes.value
