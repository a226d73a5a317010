"""A lift that is not wide: what its own section makes of its heat and of its edges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from planning.core.casting.faces import AIR_TOP, INSULATED, tool_side
from planning.pours.models import Pour
from planning.system_data import system_data
from shop.stores_types import SystemInfo

if TYPE_CHECKING:
    from planning.core.casting.section import Section

SIDES = "board"
"""What the sides of a mould are taken to be of: no pour records it. Common practice, no source."""


@dataclass(frozen=True)
class NarrowLift:
    """The narrowest lift of a pour beside a wide one as deep, for its page."""

    number: int
    depth_mm: int
    width_mm: int
    peak_c: int
    wide_peak_c: int
    edge_h: int | None
    """When its last edge may be demoulded; None: not in two weeks."""
    wide_edge_h: int | None
    after_clock: bool
    """Later than the clock of the lift, or than no clock at all yet."""
    query: str
    """Opens the calculator with its figures."""


def narrow_lift(pour: Pour, rows: Sequence[dict[str, Any]], info: SystemInfo) -> NarrowLift | None:
    """Return the narrowest lift of a pour, where one is narrow and its system can be computed."""
    system = system_data(info)
    if not system.computable or not rows:
        return None
    from planning.core.casting.section import NARROW_DEPTHS
    from planning.core.casting.section_figures import section_figures

    cast = [(row, _section(pour, row["lift"], float(info.mixed_density_kg_l))) for row in rows]
    row, section = min(cast, key=lambda pair: pair[1].width_mm / pair[1].depth_mm)
    if section.width_mm >= NARROW_DEPTHS * section.depth_mm:
        return None
    lift, cure = row["lift"], row["cure"]
    shop_c, mix_c = float(lift.expected_c), None if pour.mix_c is None else float(pour.mix_c)
    found = section_figures(system, section, shop_c, mix_c=mix_c)
    mine, wide = found.section, found.wide
    clock_h = None
    if cure is not None and cure.expected_at is not None:
        clock_h = (cure.expected_at - cure.poured_at).total_seconds() / 3600
    return NarrowLift(
        number=lift.number,
        depth_mm=round(section.depth_mm),
        width_mm=round(section.width_mm),
        peak_c=round(mine.peak_c),
        wide_peak_c=round(wide.peak_c),
        edge_h=None if mine.demould_h is None else round(mine.demould_h),
        wide_edge_h=None if wide.demould_h is None else round(wide.demould_h),
        after_clock=clock_h is not None and (mine.demould_h is None or mine.demould_h > clock_h),
        query=_query(info.code, section, lift.number, pour.tool_side, shop_c, mix_c),
    )


def _section(pour: Pour, lift: Any, density_kg_l: float) -> Section:
    from planning.core.casting.section import section_of

    depth_mm = float(lift.depth_mm)
    area_mm2 = float(lift.mass_kg) / density_kg_l * 1e6 / depth_mm
    # What lies below a later lift is as warm as the lift itself, or warmer.
    base = tool_side(pour.tool_side) if lift.number == 1 else INSULATED
    sides = (None if side is None else float(side) for side in (pour.length_mm, pour.width_mm))
    return section_of(depth_mm, area_mm2, base, tool_side(SIDES), AIR_TOP, *sides)


def _query(
    code: str, section: Section, number: int, stands_on: str, shop_c: float, mix_c: float | None
) -> str:
    given = {
        "system": code,
        "shape": section.shape,
        "width_mm": f"{section.width_mm:.1f}",
        "depth_mm": f"{section.depth_mm:.1f}",
        "shop_c": f"{shop_c:g}",
        "tool_side": stands_on if number == 1 else "foam",
        "wall_side": SIDES,
        "mix_c": "" if mix_c is None else f"{mix_c:g}",
    }
    return urlencode({name: value for name, value in given.items() if value})
