"""A casting that is not wide: its own heat and times beside those of a wide lift as deep."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from planning.core.casting.clock_types import GLASS_MARGIN_K, HAND_SAFE_C
from planning.core.casting.cure import cure_clock
from planning.core.casting.faces import AIR_TOP, tool_side
from planning.core.casting.stricter import Limit, greatest
from planning.workbench.answer import Answer, Picture, Table, decimal, shown
from planning.workbench.casting import with_hazards
from planning.workbench.curves import Level, Line, line_chart
from planning.workbench.inputs import SectionForm

if TYPE_CHECKING:
    from planning.core.casting.section import Section
    from planning.core.casting.section_figures import Outcome, SectionFigures

WIDTHS = (0.5, 1.0, 1.5, 2.0, 3.0, 5.0, 8.0)
"""Of the table, in depths."""
_ALIKE = 0.02
"""Shares that differ by less from one are told as alike."""
NOT_IN_IT = (
    "An estimate for planning, not a safety device. Not in it: the ends of a long casting and "
    "corners seen from above, which stay cooler and cure later still; shrinkage; a tool that "
    "warms up."
)


def section(form: SectionForm) -> Answer | None:
    """Return the casting's own peak and times, and what those of a wide lift are worth."""
    given, system = form.cleaned_data, form.chosen
    answer = with_hazards(form)
    if not system.computable:
        answer.say(
            "This system has no kinetics, so its temperature cannot be computed: the data sheet's "
            "depth and times hold.",
            "mind",
        )
        return answer
    cast = _cast(form)
    if cast is None:
        return None
    from planning.core.casting.edges import edge_shares
    from planning.core.casting.section_figures import section_figures

    found = section_figures(system, cast, given["shop_c"], mix_c=given["mix_c"])
    _heat(answer, found, system.peak_limit_c)
    _times(answer, form, found)
    shares = edge_shares(system, cast, given["shop_c"], given["mix_c"])
    answer.add(
        "edge_share", "Clocks hold it back for its edges by", shares.demould, "times", 2,
        "Of the time of a wide lift, on the careful side. Counted in the time to take it out of "
        "the mould, wherever the data sheet's is not later.",
    )  # fmt: skip
    for name, words in (("tool_side", "What it stands on"), ("wall_side", "What its sides touch")):
        if given[name] == "unknown":
            answer.say(f"{words} is not known, so it counts as insulated.", "mind")
    _pictures(answer, found, system.peak_limit_c)
    if not cast.pattern_width_mm:
        _by_width(answer, form, cast)
    answer.say(NOT_IN_IT)
    return answer


def _cast(form: SectionForm) -> Section | None:
    from planning.core.casting.section import Section

    given = form.cleaned_data
    broad, high = given["pattern_width_mm"], given["pattern_height_mm"]
    for name, value, other in (
        ("pattern_width_mm", broad, high), ("pattern_height_mm", high, broad)
    ):  # fmt: skip
        if value is None and other is not None:
            form.add_error(name, f"{name} is missing; a pattern needs its width and its height.")
    for name, value, limit in (
        ("pattern_width_mm", broad, "width_mm"), ("pattern_height_mm", high, "depth_mm")
    ):  # fmt: skip
        if value is not None and value >= given[limit]:
            form.add_error(
                name, f"{name} is {value:g} mm; it must be less than {limit}, {given[limit]:g} mm."
            )
    if form.errors:
        return None
    return Section(
        given["shape"], given["width_mm"], given["depth_mm"], tool_side(given["tool_side"]),
        tool_side(given["wall_side"]), AIR_TOP, tool_side(given["pattern_side"]),
        broad or 0.0, high or 0.0,
    )  # fmt: skip


def _heat(answer: Answer, found: SectionFigures, cap_c: float) -> None:
    mine, wide = found.section, found.wide
    answer.add(
        "peak_c", "Peaks at", mine.peak_c, "°C", 1, f"A wide lift as deep: {wide.peak_c:.1f} °C."
    )
    answer.add("peak_h", "Peak comes after", mine.peak_h, "h", 1, f"Wide: {wide.peak_h:.1f} h.")
    answer.data["wide_peak_c"] = decimal(wide.peak_c, 1)
    answer.data["wide_peak_h"] = decimal(wide.peak_h, 1)
    answer.add(
        "rise_share", "Of a wide lift's rise", found.rise_share, "", 2,
        "1 is the figure that plans and sheets go by.",
    )  # fmt: skip
    answer.data["wide_is_hotter"] = found.wide_is_hotter
    if mine.peak_c > cap_c:
        answer.say(f"It peaks {mine.peak_c - cap_c:.0f} K over the limit of {cap_c:g} °C.", "stop")
    if found.rise_share is None or abs(found.rise_share - 1) < _ALIKE:
        answer.say("It gets as hot as a wide lift of this depth.")
    elif found.rise_share < 1:
        answer.say(
            f"Heat: the figures for a wide lift are on the safe side. They count on "
            f"{wide.peak_c:.0f} °C; it gets {mine.peak_c:.0f} °C.",
            "good",
        )
    else:
        answer.say(
            f"Heat: the figures for a wide lift are too low. They count on {wide.peak_c:.0f} °C; "
            f"it gets {mine.peak_c:.0f} °C. Go by this page.",
            "stop",
        )


def _times(answer: Answer, form: SectionForm, found: SectionFigures) -> None:
    mine, wide = found.section, found.wide
    answer.add("gelled_h", "Gelled everywhere after", mine.gelled_h, "h", 1, _wide(wide.gelled_h))
    answer.add(
        "cured_h", "Cured everywhere after", mine.cured_h, "h", 1,
        f"To the conversion for demoulding. {_wide(wide.cured_h)}",
    )  # fmt: skip
    due = demould_due(form, mine)
    answer.add_limit("demould_due", "h", "Demould after", due, "h", 1)
    answer.data |= {
        "wide_gelled_h": decimal(wide.gelled_h, 1), "wide_cured_h": decimal(wide.cured_h, 1),
        "wide_demould_h": decimal(wide.demould_h, 1),
        "time_share": decimal(found.time_share, 2), "wide_is_later": found.wide_is_later,
    }  # fmt: skip
    if found.edge_cured_h is not None:
        answer.add(
            "edge_cured_h", "An edge cures at the latest after", found.edge_cured_h, "h", 1,
            "At the shop's temperature all the time, as at the edge of a very thin casting.",
        )  # fmt: skip
    if mine.demould_h is None:
        answer.say(
            "Its edges do not cure at this temperature in two weeks, or the conversion for "
            "demoulding is not known. Warm it, or ask the maker.",
            "stop",
        )
    elif found.time_share is None or found.time_share > 1 + _ALIKE:
        later = "" if found.time_share is None else f", {found.time_share:.2f} times as long"
        answer.say(
            f"Demoulding: computed times for a wide lift are too short here. They say "
            f"{_hours(wide.demould_h)}; its edges stay near the shop's temperature and are done "
            f"after {_hours(mine.demould_h)}{later}. Check the hardness at an edge.",
            "mind",
        )
    else:
        answer.say(
            f"Demoulding: a wide lift takes {_hours(wide.demould_h)}, this one "
            f"{_hours(mine.demould_h)}; the wide figure is on the safe side.",
            "good",
        )
    answer.say(
        "Demoulding asks that it has cured where it cures last, is everywhere "
        f"{GLASS_MARGIN_K:g} K below its own glass transition where that is known, and at most "
        f"{HAND_SAFE_C:g} °C at its faces."
    )


def demould_due(form: SectionForm, mine: Outcome) -> Limit:
    """Return the later of the data sheet's time and the computed one of the casting, h."""
    shop_c = form.cleaned_data["shop_c"]
    printed = cure_clock(form.chosen, [0.0], [shop_c], shop_c).due_h.datasheet
    if mine.demould_h is None:
        return Limit(None, "computed", printed, None)
    return greatest(printed, mine.demould_h)


def _wide(hours: float | None) -> str:
    return f"Wide: {_hours(hours)}."


def _hours(hours: float | None) -> str:
    return "not in two weeks" if hours is None else f"{hours:.1f} h"


def _pictures(answer: Answer, found: SectionFigures, cap_c: float) -> None:
    mine, wide = found.section, found.wide
    end = 1.15 * max(h or 0.0 for h in (mine.demould_h, wide.demould_h, mine.peak_h, wide.peak_h))
    drawn = line_chart(
        "Hottest point over time",
        f"The casting peaks at {mine.peak_c:.0f} °C, a wide lift as deep at {wide.peak_c:.0f} °C.",
        "hours from pouring", "°C",
        [_until(end, "this one", mine), _until(end, "wide lift", wide)],
        levels=[Level(f"limit {cap_c:g} °C", cap_c)],
    )  # fmt: skip
    answer.pictures.append(Picture(drawn, "The hottest point, and that of a wide lift as deep."))
    from planning.workbench.heat_map import Plane, heat_map  # reads numpy

    plane = Plane(found.cells.across_mm, found.cells.up_mm, found.map_c)
    across, up, peak_c = plane.hottest()
    drawn = heat_map(
        "Temperatures at the peak",
        f"Half the section, its middle at the left; hottest, {peak_c:.0f} °C, {across:.0f} mm "
        f"from the middle and {up:.0f} mm above the base.",
        plane,
        ("middle", "side"),
    )
    answer.pictures.append(
        Picture(drawn, "Half of its section when it is hottest; the darker, the hotter.")
    )


def _until(end_h: float, label: str, outcome: Outcome) -> Line:
    count = max(2, sum(h <= end_h for h in outcome.times_h))
    return Line(label, outcome.times_h[:count], outcome.hottest_c[:count])


def _by_width(answer: Answer, form: SectionForm, cast: Section) -> None:
    """Show the same at other widths."""
    from planning.core.casting.section_figures import section_figures

    given, rows = form.cleaned_data, []
    for times in WIDTHS:
        other = replace(cast, width_mm=times * cast.depth_mm)
        one = section_figures(form.chosen, other, given["shop_c"], mix_c=given["mix_c"])
        rows.append((times, other.width_mm, one))
    answer.tables.append(Table(
        f"The same {cast.depth_mm:g} mm deep, by width",
        ("Width in depths", "Width, mm", "Peak, °C", "Of a wide rise", "Cured, h", "Demould, h",
         "Of a wide lift's time"),
        tuple(
            (
                f"{times:g}", shown(width, 0), shown(one.section.peak_c, 0),
                shown(one.rise_share, 2), shown(one.section.cured_h, 1),
                shown(one.section.demould_h, 1), shown(one.time_share, 2),
            )
            for times, width, one in rows
        ),
    ))  # fmt: skip
    answer.data["by_width"] = [
        {
            "width_mm": decimal(width, 1), "peak_c": decimal(one.section.peak_c, 1),
            "rise_share": decimal(one.rise_share, 3), "cured_h": decimal(one.section.cured_h, 1),
            "demould_h": decimal(one.section.demould_h, 1),
            "time_share": decimal(one.time_share, 3),
        }
        for _, width, one in rows
    ]  # fmt: skip
