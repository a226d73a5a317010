"""Pot life, lift temperature and the two clocks between lifts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from planning.core.casting.arrhenius import halving_rule_time
from planning.core.casting.cautions import cautions_of
from planning.core.casting.cure import demould_conversion
from planning.core.casting.faces import AIR_TOP, Face, tool_side
from planning.core.casting.pot_life import Handling, gel_early_min, largest_batch, pot_life_min
from planning.core.casting.stricter import Limit, least
from planning.core.casting.system import SystemData
from planning.pours.setting import Setting
from planning.workbench.answer import Answer, Picture, Table, decimal, shown
from planning.workbench.casting import with_hazards
from planning.workbench.curves import Bar, Level, Line, Mark, bar_chart, line_chart
from planning.workbench.inputs import ClocksForm, LiftForm, PotLifeForm

if TYPE_CHECKING:
    from planning.core.casting.gaps import LiftWindow

HOT_C = 60.0
"""A core this hot is no warm pot but one that runs away. Common practice, no source."""
WARM_K = 15.0
"""A forgotten pot that warms by so much is told of. Common practice, no source."""
CHART_DEPTHS_MM = (10, 20, 30, 40, 50, 60, 70, 80, 90, 100, 120, 150)
CHART_STEP_K = 5.0
ESTIMATE = (
    "An estimate for planning, not a safety device: it knows no edges, no shrinkage and no corner "
    "that traps heat."
)


def pot_life(form: PotLifeForm) -> Answer | None:
    """Return the pot life, the largest batch, and what a forgotten pot would do."""
    given, system, info = form.cleaned_data, form.chosen, form.info
    shop_c, mix_c, batch = given["shop_c"], given["mix_c"], given["batch_kg"]
    answer = with_hazards(form)
    life = pot_life_min(system, shop_c, batch, mix_c)
    answer.add_limit("pot_life", "min", "Pot life from first contact", life, "min", 0)
    answer.add_limit("gel", "min", "May gel from", gel_early_min(system, shop_c), "min", 0)
    point = system.datasheet.pot_life
    if point is not None and point.mass_kg is not None:
        answer.say(
            f"The data sheet's pot life was read on {point.mass_kg:g} kg at {point.temp_c:g} °C. "
            "It is shifted to your temperature; it is not corrected for mass, because no law for "
            "that is known."
        )
    assert info is not None  # the system field is required
    if point is not None and info.activation_kj_mol is None and system.kinetics is None:
        rule = halving_rule_time(point.minutes, point.temp_c, max(shop_c, _or(mix_c, shop_c)))
        answer.say(f"The rule of thumb, half the time for 10 °C more, says {rule:.0f} min.")
    say_cautions(answer, system, shop_c, mix_c)
    handling = Handling(
        mix_min=_or(given["mix_min"], float(info.mix_min)),
        move_min=_or(given["move_min"], float(info.move_min)),
        pour_kg_min=_or(given["pour_kg_min"], float(info.pour_rate_kg_min)),
        safety_fraction=_or(given["safety_percent"], 80.0) / 100,
    )
    vessel = given["vessel_kg"] or (float(info.vessel_kg) if info.vessel_kg else math.inf)
    largest = largest_batch(
        system, shop_c, handling, mix_c=mix_c, vessel_kg=vessel,
        mixer_kg=given["mixer_kg"] or math.inf,
    )  # fmt: skip
    answer.data["bound_by"] = largest.bound_by
    answer.add(
        "largest_batch_kg", "Largest batch", largest.mass_kg, "kg", 2,
        f"Bound by the {largest.bound_by}: mixing {handling.mix_min:g} min, carrying "
        f"{handling.move_min:g} min, pouring at {handling.pour_kg_min:g} kg/min.",
    )  # fmt: skip
    if largest.mass_kg == 0:
        answer.say(
            "Mixing and carrying alone take up the pot life. A cooler shop, or less handling, is "
            "needed.",
            "stop",
        )
    if batch is not None:
        _batch(answer, system, batch, shop_c, mix_c, handling, life)
    return answer


def _batch(
    answer: Answer, system: SystemData, batch_kg: float, shop_c: float, mix_c: float | None,
    handling: Handling, life: Limit,
) -> None:  # fmt: skip
    needed = handling.minutes(batch_kg)
    answer.add("needed_min", f"To empty {batch_kg:g} kg", needed, "min", 0, "From first contact.")
    if life.value is not None and needed > life.value * handling.safety_fraction:
        answer.say(
            f"{batch_kg:g} kg need {needed:.0f} min from first contact; "
            f"{life.value * handling.safety_fraction:.0f} min may be used. Mix less at a time.",
            "stop",
        )
    if not system.computable:
        answer.say(
            "How hot a forgotten pot gets cannot be computed: this system has no kinetics. Empty "
            "the pot in time, and spread what is left thin.",
            "mind",
        )
        return
    from planning.core.casting.bucket import solve_bucket

    pot = solve_bucket(system, batch_kg, shop_c, mix_c=mix_c)
    answer.add(
        "forgotten_peak_c", "A forgotten pot peaks at", pot.peak_core_c, "°C", 0,
        f"In its core, {_duration(pot.peak_min / 60)} after first contact.",
    )  # fmt: skip
    answer.data["forgotten_peak_after_min"] = decimal(pot.peak_min, 0)
    if pot.peak_core_c >= HOT_C:
        answer.say(
            f"Left in its bucket this batch reaches {pot.peak_core_c:.0f} °C. Pour it out or "
            "spread it thin before its pot life ends; never seal it. If it runs away: warn "
            "people, keep clear of the fume, follow the site's emergency plan.",
            "stop",
        )
    elif pot.peak_core_c >= shop_c + WARM_K:
        answer.say(
            f"Left in its bucket this batch warms to {pot.peak_core_c:.0f} °C: empty it in time, "
            "and spread what is left thin.",
            "mind",
        )
    chart = line_chart(
        f"Core of a {batch_kg:g} kg pot",
        f"Temperature of the core over hours; it peaks at {pot.peak_core_c:.0f} °C.",
        "hours from first contact", "°C",
        [Line("core", [t / 60 for t in pot.times_min], pot.core_c)],
        marks=[Mark(f"{pot.peak_core_c:.0f} °C", pot.peak_min / 60, pot.peak_core_c)],
    )  # fmt: skip
    answer.pictures.append(Picture(chart, f"The core of {batch_kg:g} kg left in its bucket."))


def lift(form: LiftForm) -> Answer | None:
    """Return how hot a lift gets and when, and the deepest that is safe."""
    given, system = form.cleaned_data, form.chosen
    answer = with_hazards(form)
    stated = _with_cap(answer, system, given["cap_c"])
    cap_c = stated.peak_limit_c
    base, top = _faces(given)
    say_cautions(
        answer, stated, given["shop_c"], given["mix_c"], given["mould_c"], given["oven_c"]
    )
    printed = system.datasheet.deepest_lift_mm
    if not system.computable:
        answer.add_limit("deepest_lift", "mm", "Deepest lift", least(printed, None), "mm", 0)
        answer.say(
            "This system has no kinetics, so its temperature cannot be computed: the data sheet's "
            "depth holds.",
            "mind",
        )
        return _judge_depth(answer, given["depth_mm"], printed, "the data sheet's")
    from planning.core.casting.exotherm import deepest_safe_lift_mm, solve_lift

    below = given["cured_below_mm"] or 0.0
    curve = solve_lift(
        system, given["depth_mm"], given["shop_c"], base, top,
        mix_c=given["mix_c"], cured_below_mm=below,
    )  # fmt: skip
    answer.add(
        "peak_c",
        "Peaks at",
        curve.peak_c,
        "°C",
        1,
        f"{curve.peak_height_mm:.0f} mm above its base.",
    )
    answer.add(
        "peak_h", "Peak comes after", curve.peak_h, "h", 1, "Somebody stays until this has passed."
    )
    answer.add("gel_core_h", "Core gels after", curve.gel_core_h, "h", 1)
    answer.add("gel_top_h", "Surface gels after", curve.gel_top_h, "h", 1)
    safe = deepest_safe_lift_mm(
        system, given["shop_c"], cap_c, base, top,
        mix_c=given["mix_c"], cured_below_mm=below,
    )  # fmt: skip
    deepest = least(printed, safe)
    answer.add_limit("deepest_lift", "mm", "Deepest lift", deepest, "mm", 0)
    if curve.gel_top_h is None:
        answer.say("At this temperature the cure stalls before it gels; it needs warmth.", "stop")
    if given["tool_side"] == "unknown" and not below:
        answer.say("What it stands on is not known, so it counts as insulated.", "mind")
    if curve.peak_c > cap_c:
        answer.say(f"It peaks {curve.peak_c - cap_c:.0f} K over the cap of {cap_c:g} °C.", "stop")
    _glass(answer, system, curve.least_conversion, given["service_c"])
    _theory(answer, form)
    _pictures(answer, form, cap_c)
    answer.say(ESTIMATE)
    basis = "the data sheet's" if deepest.basis == "datasheet" else "the computed"
    return _judge_depth(answer, given["depth_mm"], deepest.value, basis)


def _with_cap(answer: Answer, system: SystemData, typed_c: float | None) -> SystemData:
    """Return a system with the lower of its own peak limit and the one typed, and say which."""
    own_c = system.peak_cap_c
    if typed_c is None or (own_c is not None and own_c < typed_c):
        if typed_c is not None:
            answer.say(
                f"The system's own limit of {own_c:g} °C is stricter than the {typed_c:g} °C "
                "typed, and holds.",
                "mind",
            )
        return system
    return replace(system, peak_cap_c=typed_c)


def _faces(given: Mapping[str, Any]) -> tuple[Face, Face]:
    """Return base and top of a lift, as a plan takes them."""
    setting = Setting(given["tool_side"], mould_c=given["mould_c"], oven_c=given["oven_c"])
    return setting.faces()[-1]


def say_cautions(
    answer: Answer, system: SystemData, shop_c: float, *others_c: float | None
) -> None:
    """Say what is assumed of a system, as sheet and plan do."""
    for one in cautions_of(system, shop_c, *others_c):
        answer.say(one.words, "mind")


def _theory(answer: Answer, form: LiftForm) -> None:
    """Explain by thermal explosion theory why the lift is hot or is not."""
    from planning.core.casting.criticality import lift_criticality

    given = form.cleaned_data
    found = lift_criticality(form.chosen, given["depth_mm"], given["shop_c"], *_faces(given))
    if found is None:
        return
    answer.data["heat_held_share"] = decimal(found.share, 2)
    if found.share < 1:
        answer.say(
            f"Why it stays cool: its faces lose heat faster than it is made, at {found.share:.0%} "
            "of what they could bear."
        )
    else:
        answer.say(
            f"Why it heats up: it makes {found.share:.1f} times the heat its faces could lose "
            "while staying cool. Only the resin being used up ends it. Half the depth makes a "
            "quarter of it, or half where air and not depth is in the way."
        )


def _judge_depth(answer: Answer, depth_mm: float, deepest_mm: float | None, basis: str) -> Answer:
    if deepest_mm is None:
        answer.say("No depth limit is known for this system. Ask its maker.", "stop")
    elif depth_mm > deepest_mm:
        parts = math.ceil(depth_mm / deepest_mm) if deepest_mm > 0 else 0
        advice = f"Pour it in {parts} lifts." if parts else "Cool the shop."
        answer.say(
            f"{depth_mm:g} mm is deeper than {basis} limit of {deepest_mm:.0f} mm. {advice}",
            "stop",
        )
    answer.data["depth_allowed"] = deepest_mm is not None and depth_mm <= deepest_mm
    return answer


def _glass(answer: Answer, system: SystemData, conversion: float, service_c: float | None) -> None:
    answer.data["conversion_at_end"] = decimal(conversion, 3)
    need = demould_conversion(system)
    if need is not None:
        answer.data["demould_conversion"] = decimal(need, 3)
    wanted = _or(service_c, system.service_c)
    if system.glass is None:
        if wanted is not None:
            answer.say(
                f"Whether it serves at {wanted:g} °C cannot be computed: the system's glass "
                "transition is not recorded."
            )
        return
    from planning.core.casting.kinetics import glass_transition_c

    tg_c = glass_transition_c(system.glass, conversion)
    answer.add("tg_c", "Glass transition at the end", tg_c, "°C", 0, "Where it cured least.")
    if wanted is not None and tg_c < wanted:
        answer.say(
            f"Without post-cure its glass transition stays at {tg_c:.0f} °C, below the "
            f"{wanted:g} °C of service.",
            "mind",
        )


def _pictures(answer: Answer, form: LiftForm, cap_c: float | None) -> None:
    from planning.core.casting.exotherm import solve_lift

    given, system = form.cleaned_data, form.chosen
    base, top = _faces(given)
    below, levels = given["cured_below_mm"] or 0.0, []
    if cap_c is not None:
        levels.append(Level(f"cap {cap_c:g} °C", cap_c))
    curve = solve_lift(
        system, given["depth_mm"], given["shop_c"], base, top,
        mix_c=given["mix_c"], cured_below_mm=below,
    )  # fmt: skip
    drawn = line_chart(
        f"Temperature of a {given['depth_mm']:g} mm lift",
        f"Hottest point and top over hours; it peaks at {curve.peak_c:.0f} °C after "
        f"{curve.peak_h:.1f} h.",
        "hours from pouring", "°C",
        [Line("hottest", curve.times_h, curve.hottest_c), Line("top", curve.times_h, curve.top_c)],
        levels=levels,
        marks=[Mark(f"{curve.peak_c:.0f} °C", curve.peak_h, curve.peak_c)],
    )  # fmt: skip
    answer.pictures.append(Picture(drawn, "The lift over time."))
    answer.data["curve"] = [
        {"h": decimal(h, 2), "hottest_c": decimal(hot, 1), "top_c": decimal(top, 1)}
        for h, hot, top in zip(
            curve.times_h[::4], curve.hottest_c[::4], curve.top_c[::4], strict=True
        )
    ]
    shops = sorted({given["shop_c"] + step for step in (-CHART_STEP_K, 0.0, CHART_STEP_K)})
    peaks = {
        shop: [
            solve_lift(
                system,
                float(depth),
                shop,
                base,
                top,
                mix_c=given["mix_c"],
                cured_below_mm=below,
                cells=30,
            ).peak_c
            for depth in CHART_DEPTHS_MM
        ]
        for shop in shops
    }
    by_depth = line_chart(
        "Peak by depth",
        "Peak temperature against depth of lift at three shop temperatures.",
        "depth of lift, mm", "peak, °C",
        [Line(f"shop {shop:g} °C", CHART_DEPTHS_MM, ys) for shop, ys in peaks.items()],
        levels=levels,
    )  # fmt: skip
    answer.pictures.append(Picture(by_depth, "Peak by depth, at three shop temperatures."))
    answer.tables.append(Table(
        "Peak in °C by depth and shop temperature",
        ("Depth, mm", *(f"{shop:g} °C" for shop in shops)),
        tuple(
            (str(depth), *(shown(peaks[shop][n], 0) for shop in shops))
            for n, depth in enumerate(CHART_DEPTHS_MM)
        ),
    ))  # fmt: skip
    answer.data["peak_by_depth"] = [
        {"depth_mm": str(depth), "shop_c": decimal(shop, 1), "peak_c": decimal(peaks[shop][n], 1)}
        for shop in shops
        for n, depth in enumerate(CHART_DEPTHS_MM)
    ]


def clocks(form: ClocksForm) -> Answer | None:
    """Return when the next lift may go on, until when it bonds, and the ways out."""
    from planning.core.casting.gaps import lift_window, ways_out

    given, system = form.cleaned_data, form.chosen
    base = tool_side(given["tool_side"])
    where = (system, given["depth_mm"], given["shop_c"], base, AIR_TOP)
    window, answer = lift_window(*where), with_hazards(form)
    answer.add_limit("opens", "h", "Next lift after", window.opens_h, "h", 1)
    answer.add_limit("closes", "h", "Bonds for", window.closes_h, "h", 1)
    answer.data |= {"overlap": window.overlap, "never_cools": window.never_cools}
    if system.computable:
        answer.add("gelled_h", "Gelled to its top after", window.gelled_h, "h", 1)
    if system.computable:
        answer.add(
            "cooled_h", "Cool enough after", window.cooled_h, "h", 1,
            f"Then neither lift passes {system.peak_limit_c:g} °C.",
        )  # fmt: skip
    offers = ways_out(*where)
    answer.data["ways_out"] = [
        {
            "kind": offer.kind, "words": offer.words, "depth_mm": decimal(offer.depth_mm, 0),
            "wait_h": decimal(offer.wait_h, 1), "shop_c": decimal(offer.shop_c, 0),
        }
        for offer in offers
    ]  # fmt: skip
    if window.never_cools:
        answer.say(
            "At this depth no wait is long enough: the next lift would pass the cap, or this one "
            "never gels.",
            "stop",
        )
    elif window.overlap is False:
        answer.say("The two clocks do not overlap: it stops bonding before it may be poured on.",
                   "stop")  # fmt: skip
    elif window.overlap:
        answer.say("The two clocks overlap: pour the next lift between them.", "good")
    else:
        answer.say("One of the two clocks is not known for this system. Ask its maker.", "mind")
    for offer in offers:
        answer.say(offer.words, "mind")
    _two_clocks(answer, window)
    if given["tool_side"] == "unknown" and system.computable:
        answer.say("What it stands on is not known, so it counts as insulated.", "mind")
    if not system.computable:
        answer.say("From data sheet points only, shifted to the shop's temperature.", "mind")
    return answer


def _two_clocks(answer: Answer, window: LiftWindow) -> None:
    bars = []
    if window.opens_h.value is not None:
        bars.append(Bar("may be poured on", window.opens_h.value, None))
    if window.closes_h.value is not None:
        bars.append(Bar("still bonds", 0.0, window.closes_h.value))
    if not bars:
        return
    words = ". ".join(
        f"{bar.label.capitalize()} from {bar.start:.1f} h"
        + ("" if bar.end is None else f" to {bar.end:.1f} h")
        for bar in bars
    )
    drawn = bar_chart("The two clocks", f"{words}.", "hours from pouring the lift below", bars)
    answer.pictures.append(Picture(drawn, "Pour while both bars run."))


def _duration(hours: float) -> str:
    return f"{60 * hours:.0f} min" if hours < 1.5 else f"{hours:.1f} h"


def _or(value: float | None, otherwise: float | None) -> float:
    """Return a typed figure, else the other; callers know one is there."""
    return value if value is not None else otherwise  # type: ignore[return-value]
