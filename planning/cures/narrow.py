"""A lift that is not wide: what its own section makes of its heat; its clock counts its edges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from planning.clocks.answer import mould_of
from planning.clocks.gather import SIDES, base_of
from planning.core.casting.faces import AIR_TOP
from planning.pours.models import Pour, ToolSide
from planning.system_data import system_data
from shop.stores_types import SystemInfo

if TYPE_CHECKING:
    from planning.core.casting.section import Section


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
    sides: str
    """What its sides are taken to be of."""
    query: str
    """Opens the calculator with its figures."""


def narrow_lift(pour: Pour, rows: Sequence[dict[str, Any]], info: SystemInfo) -> NarrowLift | None:
    """Return the narrowest lift of a pour, where one is narrow and its system can be computed."""
    system = system_data(info)
    if system.thermal is None or not system.computable or not rows:
        return None
    from planning.core.casting.section import NARROW_DEPTHS
    from planning.core.casting.section_figures import section_figures

    cast = [(row, _section(pour, row["lift"], system.thermal.density_kg_m3)) for row in rows]
    row, section = min(cast, key=lambda pair: pair[1].width_mm / pair[1].depth_mm)
    if section.width_mm >= NARROW_DEPTHS * section.depth_mm:
        return None
    lift = row["lift"]
    shop_c, mix_c = float(lift.expected_c), None if pour.mix_c is None else float(pour.mix_c)
    found = section_figures(system, section, shop_c, mix_c=mix_c)
    mine, wide = found.section, found.wide
    return NarrowLift(
        number=lift.number,
        depth_mm=round(section.depth_mm),
        width_mm=round(section.width_mm),
        peak_c=round(mine.peak_c),
        wide_peak_c=round(wide.peak_c),
        edge_h=None if mine.demould_h is None else round(mine.demould_h),
        wide_edge_h=None if wide.demould_h is None else round(wide.demould_h),
        sides="metal" if pour.tool_side == ToolSide.METAL else "board",
        query=_query(info.code, section, lift.number, pour, shop_c, mix_c),
    )


def _section(pour: Pour, lift: Any, density_kg_m3: float) -> Section:
    from planning.core.casting.edges import side_of
    from planning.core.casting.section import section_of

    depth_mm = float(lift.depth_mm)
    mould = mould_of(pour, depth_mm, float(lift.mass_kg), density_kg_m3)
    base, _ = base_of(pour, lift.number)
    return section_of(
        depth_mm, mould.area_mm2, base, side_of(mould), AIR_TOP, mould.length_mm, mould.width_mm
    )


def _query(
    code: str, section: Section, number: int, pour: Pour, shop_c: float, mix_c: float | None
) -> str:
    metal = pour.tool_side == ToolSide.METAL
    stands_on = SIDES.get(ToolSide(pour.tool_side), "unknown") if number == 1 else "foam"
    given = {
        "system": code,
        "shape": section.shape,
        "width_mm": f"{section.width_mm:.1f}",
        "depth_mm": f"{section.depth_mm:.1f}",
        "shop_c": f"{shop_c:g}",
        "tool_side": stands_on,
        "wall_side": "metal" if metal else "board",
        "mix_c": "" if mix_c is None else f"{mix_c:g}",
    }
    return urlencode({name: value for name, value in given.items() if value})
