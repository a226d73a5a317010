"""Cure clock with post-cure, and the dew point."""

from __future__ import annotations

from planning.core.casting.cure import CureClock, cure_clock, post_cure
from planning.core.casting.dew_point import LEAST_MARGIN_K, check_surface
from planning.workbench.answer import Answer, Picture, Table, decimal, shown
from planning.workbench.casting import with_hazards
from planning.workbench.curves import Line, Mark, line_chart
from planning.workbench.inputs import CureForm, DewForm
from planning.workbench.records import BadRecord, post_cure_steps, readings


def cure(form: CureForm) -> Answer | None:
    """Return when the casting may be demoulded, and what a post-cure makes of it."""
    given, system = form.cleaned_data, form.chosen
    try:
        hours, temps_c = readings(given["record"])
    except BadRecord as error:
        form.add_error("record", str(error))
        return None
    try:
        steps = post_cure_steps(given["post_cure"])
    except BadRecord as error:
        form.add_error("post_cure", str(error))
        return None
    if not hours:
        hours, temps_c = [0.0], [given["then_c"]]
    answer = with_hazards(form)
    clock = cure_clock(system, hours, temps_c, given["then_c"])
    _clock(answer, clock, hours[-1])
    _record_picture(answer, clock, hours, temps_c, given["then_c"])
    if steps:
        start = max(hours[-1], clock.due_h.value or 0.0)
        start_conversion = _conversion_at(form, hours, temps_c, start)
        laid = post_cure(
            system, steps, start_h=start, start_c=given["then_c"],
            start_conversion=start_conversion, service_c=given["service_c"],
        )  # fmt: skip
        answer.add("post_cure_ends_h", "Post-cure ends after", laid.ends_h, "h", 1)
        if laid.tg_c is not None:
            answer.add("tg_after_post_cure_c", "Glass transition then", laid.tg_c, "°C", 0)
        answer.data |= {
            "conversion_after_post_cure": decimal(laid.conversion, 3),
            "service_ok": laid.service_ok,
            "stages": [
                {
                    "kind": s.kind, "from_h": decimal(s.from_h, 2), "to_h": decimal(s.to_h, 2),
                    "from_c": decimal(s.from_c, 1), "to_c": decimal(s.to_c, 1),
                }
                for s in laid.stages
            ],
        }  # fmt: skip
        answer.tables.append(Table(
            "Post-cure, hours from pouring", ("Stage", "From, h", "To, h", "From, °C", "To, °C"),
            tuple(
                (s.kind, shown(s.from_h, 1), shown(s.to_h, 1), shown(s.from_c, 0),
                 shown(s.to_c, 0))
                for s in laid.stages
            ),
        ))  # fmt: skip
        if laid.service_ok is False:
            answer.say("After this post-cure Tg is still below the service temperature.", "stop")
        if laid.softens_at_h is not None:
            answer.say(
                f"From {laid.softens_at_h:.1f} h the oven is more than 10 K above the glass "
                "transition: the casting may sag. Ramp slower, or hold earlier.",
                "stop",
            )
    answer.say("A reminder of when to look, not proof of cure: check hardness before demoulding.")
    return answer


def _clock(answer: Answer, clock: CureClock, now_h: float) -> None:
    answer.add_limit("demould_due", "h", "Demould after", clock.due_h, "h", 1)
    if clock.age_h is not None:
        answer.add(
            "age_h", "Age so far", clock.age_h, "h", 1,
            f"At the data sheet's temperature; {clock.need_h:.1f} h are asked.",
        )  # fmt: skip
    if clock.conversion is not None:
        need = clock.need_conversion
        answer.add(
            "conversion_percent", "Cured so far", 100 * clock.conversion, "%", 0,
            f"{100 * need:.0f} % are asked." if need is not None else "",
        )  # fmt: skip
    if clock.tg_c is not None:
        answer.add("tg_c", "Glass transition now", clock.tg_c, "°C", 0)
    answer.data["stalls"] = clock.stalls
    due = clock.due_h.value
    answer.data["may_be_demoulded"] = due is not None and due <= now_h
    if clock.stalls:
        answer.say(
            "At the temperature expected the cure stalls before it is done: warm it.", "stop"
        )
    elif due is None:
        answer.say("No demould time is known for this system. Ask its maker.", "stop")
    elif due <= now_h:
        answer.say("By the record it may be demoulded.", "good")
    else:
        answer.say(f"{due - now_h:.1f} h to go after the last reading.", "mind")


def _record_picture(
    answer: Answer, clock: CureClock, hours: list[float], temps_c: list[float], then_c: float
) -> None:
    due = clock.due_h.value
    end = max(due or 0.0, hours[-1]) + 1.0
    lines = [Line("logged", hours, temps_c)] if len(hours) > 1 else []
    lines.append(Line("expected", [hours[-1], end], [then_c, then_c]))
    marks = [] if due is None else [Mark(f"demould {due:.1f} h", due, _at(hours, temps_c, due))]
    if due is not None and due > hours[-1]:
        marks = [Mark(f"demould {due:.1f} h", due, then_c)]
    drawn = line_chart(
        "Temperatures of the cure", "Temperature logged, and expected until demoulding.",
        "hours from pouring", "°C", lines, marks=marks,
    )  # fmt: skip
    answer.pictures.append(Picture(drawn, "What was logged, and what is expected."))


def _at(hours: list[float], temps_c: list[float], hour: float) -> float:
    for i in range(1, len(hours)):
        if hour <= hours[i]:
            share = (hour - hours[i - 1]) / (hours[i] - hours[i - 1])
            return temps_c[i - 1] + share * (temps_c[i] - temps_c[i - 1])
    return temps_c[-1]


def _conversion_at(
    form: CureForm, hours: list[float], temps_c: list[float], start_h: float
) -> float:
    """Conversion when the post-cure begins: along the record, then at the expected temperature."""
    system, then_c = form.chosen, form.cleaned_data["then_c"]
    if system.kinetics is None:
        return 0.0
    from planning.core.casting.kinetics import conversion_along

    times, temps = [3600 * h for h in hours], list(temps_c)
    if start_h > hours[-1]:
        # The change to the expected temperature is taken over a minute.
        times += [times[-1] + 60.0, max(3600 * start_h, times[-1] + 120.0)]
        temps += [then_c, then_c]
    return float(conversion_along(system.kinetics, times, temps)[-1])


def dew(form: DewForm) -> Answer:
    """Return the dew point, and whether the surface may be coated or poured on."""
    given = form.cleaned_data
    margin = given["least_margin_k"]
    checked = check_surface(
        given["air_c"], given["humidity_percent"], given["surface_c"],
        LEAST_MARGIN_K if margin is None else margin,
    )  # fmt: skip
    answer = Answer()
    answer.add("dew_point_c", "Dew point", checked.dew_point_c, "°C", 1)
    answer.add("margin_k", "Surface above it by", checked.margin_k, "K", 1)
    answer.add(
        "highest_humidity_percent", "This surface allows up to",
        checked.highest_humidity_percent, "% humidity", 0,
    )  # fmt: skip
    answer.add(
        "lowest_surface_c", "This air asks for a surface of", checked.lowest_surface_c,
        "°C or more", 1,
    )  # fmt: skip
    answer.data["dry_enough"] = checked.dry_enough
    if checked.dry_enough:
        answer.say(
            f"At least {checked.least_margin_k:g} K above the dew point: coat or pour.", "good"
        )
    else:
        answer.say(
            f"{checked.margin_k:.1f} K above the dew point; {checked.least_margin_k:g} K are "
            "asked. Warm the surface or dry the air, and do not coat or pour before.",
            "stop",
        )
    return answer
