"""The clocks and depth limits of a system, day by day, for the planner."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal

from planning.core.casting.clock_types import SHEET_FACTOR
from planning.core.casting.limits import DayLimits, depth_and_clock_limits
from planning.core.problem import Condition
from planning.pours.setting import Setting
from planning.system_data import system_data
from shop.stores_types import SystemInfo


def limits_at(
    info: SystemInfo, shop_c: float, setting: Setting, batch_kg: float | None = None
) -> tuple[DayLimits, ...]:
    """Return the limits at a shop temperature, each way that the surroundings may be."""
    return tuple(
        depth_and_clock_limits(
            system_data(info), shop_c, base, top, batch_kg=batch_kg, mix_c=setting.mix_c
        )
        for base, top in setting.faces()
    )


def deepest_lift_mm(
    info: SystemInfo, setting: Setting, shop_temps_c: Iterable[Decimal]
) -> float | None:
    """Return the deepest lift allowed on the warmest of some days; none when none is known."""
    found = limits_at(info, float(max(shop_temps_c)), setting)
    return min(_values(limit.deepest_lift_mm.value for limit in found), default=None)


def conditions(
    info: SystemInfo,
    day_starts: Mapping[date, int],
    expected_c: Mapping[date, Decimal],
    settings: Iterable[Setting],
    batch_kg: float | None = None,
) -> tuple[Condition, ...]:
    """Return the clocks of a system from each midnight on which they change."""
    rows: list[Condition] = []
    kinds = sorted(set(settings), key=repr)
    for day, minute in sorted(day_starts.items(), key=lambda item: item[1]):
        shop_c = float(expected_c[day])
        if not rows or rows[-1].shop_c != shop_c:
            rows.append(condition_at(info, minute, shop_c, kinds, batch_kg))
    return tuple(rows)


def condition_at(
    info: SystemInfo,
    from_min: int,
    shop_c: float,
    settings: Iterable[Setting],
    batch_kg: float | None = None,
) -> Condition:
    """
    Take the strictest clock over the settings of its pours, rounded to the safe side.

    Pots are shared between pours, so one warm mix shortens the pot life of them all. Where nothing
    but a data sheet is known, waits are stretched and the window of pouring over is shortened as
    the clocks of poured lifts do it: a plan says when the gate will let people go on.

    The time to demould of a computed system is the likeliest at the temperature of the shop, its
    own heat left out; pages say so. The clock of a lift, which is on the careful side and counts
    edges and cooling, opens later with nothing wrong: by 0 to 16 % for kinetics from own records
    and by 17 to 38 % for others, measured on lifts of 20 to 60 mm at 18 to 26 C.
    """
    factor = 1.0 if system_data(info).computable else SHEET_FACTOR
    found = [limit for one in settings for limit in limits_at(info, shop_c, one, batch_kg)]
    pot_life = min(_values(limit.pot_life_min.value for limit in found))
    gel = min(_values((limit.gel_early_min.value for limit in found), pot_life))
    late_gel = max(_values((limit.gel_late_min.value for limit in found), gel))
    sheet_cure = max(
        _values((limit.demould_min.value for limit in found), float(info.demould_min))
    )
    cure = factor * sheet_cure
    opens = factor * max(_values((limit.least_gap_min.value for limit in found), sheet_cure))
    # Where the window closes before it opens it is left so: every next lift is then abraded.
    closes = min(_values(limit.greatest_gap_min.value for limit in found), default=None)
    attend = max(_values((limit.attended_min.value for limit in found), late_gel))
    return Condition(
        from_min=from_min,
        pot_life_min=max(1, math.floor(pot_life)),
        gel_limit_min=max(1, math.floor(gel)),
        gap_least_min=math.ceil(opens),
        gap_greatest_min=math.ceil(opens) if closes is None else math.floor(closes / factor),
        attend_min=math.ceil(attend),
        cure_min=math.ceil(cure),
        shop_c=shop_c,
    )


def _values(found: Iterable[float | None], instead: float | None = None) -> list[float]:
    """Return the figures that are known; where one is not, the one given instead."""
    return [value for one in found if (value := instead if one is None else one) is not None]
