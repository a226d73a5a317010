"""The clocks and depth limits of a system, day by day, for the planner."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal

from planning.core.casting.faces import INSULATED, Face, tool_side
from planning.core.casting.limits import DayLimits, depth_and_clock_limits
from planning.core.problem import Condition
from planning.pours.models import ToolSide
from planning.system_data import system_data
from shop.stores_types import SystemInfo

FACES: Mapping[str, Face] = {
    ToolSide.METAL: tool_side("metal"),
    ToolSide.BOARD: tool_side("board"),
}
"""Sides that lead heat away; all others, cured epoxy among them, count as insulated."""


def face_of(side: str) -> Face:
    """Return how a tool side takes heat; what is not known to, takes none."""
    return FACES.get(side, INSULATED)


def limits_at(info: SystemInfo, shop_c: float, side: str) -> DayLimits:
    """Return the stricter of data sheet and computed limits at a shop temperature."""
    return depth_and_clock_limits(system_data(info), shop_c, face_of(side))


def deepest_lift_mm(info: SystemInfo, side: str, shop_temps_c: Iterable[Decimal]) -> float | None:
    """Return the deepest lift allowed on the warmest of some days; none when none is safe."""
    warmest = max(shop_temps_c)
    return limits_at(info, float(warmest), side).deepest_lift_mm.value


def conditions(
    info: SystemInfo,
    day_starts: Mapping[date, int],
    expected_c: Mapping[date, Decimal],
    sides: Iterable[str],
) -> tuple[Condition, ...]:
    """Return the clocks of a system from each midnight on which they change."""
    rows: list[Condition] = []
    kinds = sorted(set(sides))
    for day, minute in sorted(day_starts.items(), key=lambda item: item[1]):
        shop_c = float(expected_c[day])
        if not rows or rows[-1].shop_c != shop_c:
            rows.append(condition_at(info, minute, shop_c, kinds))
    return tuple(rows)


def condition_at(
    info: SystemInfo, from_min: int, shop_c: float, sides: Iterable[str]
) -> Condition:
    """Take the strictest clock over the sides its pours stand on, rounded to the safe side."""
    found = [limits_at(info, shop_c, side) for side in sides]
    pot_life = min(_values(limit.pot_life_min.value for limit in found))
    gel = min(_values((limit.gel_early_min.value for limit in found), pot_life))
    late_gel = max(_values((limit.gel_late_min.value for limit in found), gel))
    cure = max(_values((limit.demould_min.value for limit in found), float(info.demould_min)))
    opens = max(_values((limit.least_gap_min.value for limit in found), cure))
    # Where the window closes before it opens it is left so: every next lift is then abraded.
    closes = min(_values(limit.greatest_gap_min.value for limit in found), default=None)
    attend = max(_values((limit.attended_min.value for limit in found), late_gel))
    return Condition(
        from_min=from_min,
        pot_life_min=max(1, math.floor(pot_life)),
        gel_limit_min=max(1, math.floor(gel)),
        gap_least_min=math.ceil(opens),
        gap_greatest_min=math.ceil(opens) if closes is None else math.floor(closes),
        attend_min=math.ceil(attend),
        cure_min=math.ceil(cure),
        shop_c=shop_c,
    )


def _values(found: Iterable[float | None], instead: float | None = None) -> list[float]:
    """Return the figures that are known; where one is not, the one given instead."""
    return [value for one in found if (value := instead if one is None else one) is not None]
