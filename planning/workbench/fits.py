"""Fits to the shop's own records, and heat properties from the parts of a filled resin."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from planning.core.casting.filled import (
    conductivity_bruggeman,
    conductivity_lewis_nielsen,
    conductivity_maxwell,
    density_from_mass_fractions,
    filler_mass_fraction,
    filler_volume_fraction,
    heat_capacity_of_mix,
)
from planning.core.casting.logged import LoggedPour
from planning.core.casting.mixing import stoichiometric_per_100
from planning.system_data import parts_of
from planning.workbench.answer import Answer, Picture, Table, decimal, shown
from planning.workbench.curves import Line, line_chart
from planning.workbench.inputs import FitForm, PropertiesForm
from planning.workbench.records import BadRecord, logged_pours, times_seen
from shop.core.own_kinetics import KEY, origin, told_by
from shop.stores_types import SystemInfo

if TYPE_CHECKING:
    from planning.core.casting.fitting import Fitted, KineticsFit

UNFILLED_W_MK, UNFILLED_CP, FILLER_CP = 0.2, 1.8, 0.9
"""Usual for epoxy and for mineral or aluminium fillers, W/mK and kJ/kgK. From memory."""
FIGURE_WORDS = {
    "k1": ("First rate constant at 25 °C, 1/h", 3600.0),
    "k2": ("Second rate constant at 25 °C, 1/h", 3600.0),
    "heat_j_kg": ("Heat of cure, kJ/kg", 0.001),
}
"""Names and factors for people; programs get SI."""


def fit(form: FitForm) -> Answer | None:
    """Return what the records say, how sure it is, and measured beside computed."""
    answer = Answer()
    given = form.cleaned_data
    for name, work in (("times", _times), ("pours", _pours)):
        if not given[name]:
            continue
        try:
            work(answer, form)
        except BadRecord as error:
            form.add_error(name, str(error))
        except ValueError as error:
            form.add_error(name, f"{name}: {error}.")
    answer.say(
        "A fit describes the pours it was made from. It is no licence to pour deeper: the data "
        "sheet's limits go on holding."
    )
    return answer


def _times(answer: Answer, form: FitForm) -> None:
    from planning.core.casting.fitting import fit_activation_energy

    temps_c, minutes = times_seen(form.cleaned_data["times"])
    found = fit_activation_energy(minutes, temps_c)
    e, at = found.e_j_mol, found.time_at_reference
    answer.add(
        "activation_kj_mol", "Activation energy", e.value / 1000, "kJ/mol", 2,
        _interval(e.low / 1000, e.high / 1000, 1),
    )  # fmt: skip
    answer.add("time_at_25_c_min", "Time at 25 °C", at.value, "min", 1,
               _interval(at.low, at.high, 0))  # fmt: skip
    answer.data |= {
        "activation_low_kj_mol": _finite(e.low / 1000), "worst_miss_percent":
        decimal(found.worst_miss_percent, 1), "activation_high_kj_mol": _finite(e.high / 1000),
    }  # fmt: skip
    if math.isinf(e.high):
        answer.say("Two readings give a value and no interval: add a third.", "mind")
    if not 30e3 <= e.value <= 100e3:
        answer.say(
            f"{e.value / 1000:.0f} kJ/mol is far from the 45 to 65 of room-temperature amine "
            "cures: look for a wrong reading.",
            "mind",
        )


def _pours(answer: Answer, form: FitForm) -> None:
    from planning.core.casting.fitting import fit_kinetics

    pours = logged_pours(form.cleaned_data["pours"])
    found = fit_kinetics(form.chosen, pours)
    answer.add("rms_k", "Measured and computed differ by", found.rms_k, "K", 2,
               "Root of the mean square.")  # fmt: skip
    answer.tables.append(Table(
        "Fitted, with 95 % intervals", ("Figure", "Value", "From", "To"),
        tuple(_row(figure) for figure in found.figures),
    ))  # fmt: skip
    answer.data["figures"] = [_plain(figure) for figure in found.figures]
    answer.data["kinetics"] = _kinetics(found)
    if form.info is not None:
        answer.data["register"] = kept = _register(found, pours, form.info)
        told = origin(kept, parts_of(form.info), float(form.info.hardener_per_100))
        answer.say(f"Kept as the system's kinetics they are {told.words}.")
    for caution in found.cautions:
        answer.say(caution, "mind")
    for n, (pour, computed) in enumerate(zip(pours, found.computed_c, strict=True), start=1):
        _compare(answer, n, pour, computed)


def _row(figure: Fitted) -> tuple[str, ...]:
    words, factor = FIGURE_WORDS[figure.name]
    return words, *(_short(factor * v) for v in (figure.value, figure.low, figure.high))


def _compare(answer: Answer, number: int, pour: LoggedPour, computed: tuple[float, ...]) -> None:
    title = f"Pour {number}: {pour.depth_mm:g} mm at {pour.shop_c:g} °C"
    worst = max(abs(a - b) for a, b in zip(pour.temps_c, computed, strict=True))
    drawn = line_chart(
        title, f"Measured and computed temperature; they differ by at most {worst:.1f} K.",
        "hours from pouring", "°C",
        [Line("measured", pour.times_h, pour.temps_c), Line("computed", pour.times_h, computed)],
    )  # fmt: skip
    answer.pictures.append(Picture(drawn, f"{title}; at most {worst:.1f} K apart."))


def _kinetics(found: KineticsFit) -> dict[str, str]:
    """What was fitted and the temperatures of its records, as a system's register takes them."""
    kinetics, thermal = found.system.kinetics, found.system.thermal
    assert kinetics is not None
    assert thermal is not None
    return {
        "a1_per_s": _short(kinetics.a1_per_s),
        "a2_per_s": _short(kinetics.a2_per_s),
        "heat_j_kg": _short(thermal.heat_j_kg),
        "fitted_from_c": f"{kinetics.fitted_from_c:.1f}",
        "fitted_to_c": f"{kinetics.fitted_to_c:.1f}",
    }


def _register(found: KineticsFit, pours: Sequence[LoggedPour], info: SystemInfo) -> dict[str, Any]:
    """Return the whole of a system's kinetics as its register keeps them, and what fitted them."""
    given = _kinetics(found)
    kept = {name: value for name, value in (info.kinetics or {}).items() if name != KEY}
    kept["thermal"] = {**kept.get("thermal", {}), "heat_j_kg": float(given.pop("heat_j_kg"))}
    kept |= {name: float(value) for name, value in given.items()}
    wide = {one.name: 100 * (one.high / one.value - 1) for one in found.figures}
    heat = wide.pop("heat_j_kg")
    kept[KEY] = told_by(
        kept, parts_of(info), float(info.hardener_per_100), pours=len(pours),
        readings=sum(len(pour.times_h) for pour in pours), rms_k=found.rms_k,
        rate_percent=min(max(wide.values()), 1e6), heat_percent=min(heat, 1e6),
    )  # fmt: skip
    return kept


def properties(form: PropertiesForm) -> Answer | None:
    """Return filler shares, conductivity, heat capacity, and what the equivalents tell."""
    given, answer = form.cleaned_data, Answer()
    resin, filler, mixed = given["resin_kg_l"], given["filler_kg_l"], given["mixed_kg_l"]
    try:
        phi = filler_volume_fraction(mixed, resin, filler)
    except ValueError:
        low, high = sorted((resin, filler))
        form.add_error(
            "mixed_kg_l",
            f"mixed_kg_l is {mixed:g} kg/L; it must lie between its parts', {low:g} and "
            f"{high:g} kg/L, which must differ.",
        )
        return None
    by_mass = filler_mass_fraction(phi, mixed, filler)
    answer.add("filler_volume_percent", "Filler by volume", 100 * phi, "%", 1)
    answer.add("filler_mass_percent", "Filler by mass", 100 * by_mass, "%", 1)
    answer.add("reactive_fraction", "Reactive part by mass", 1 - by_mass, "", 3)
    back = density_from_mass_fractions([1 - by_mass, by_mass], [resin, filler])
    answer.data["density_check_kg_l"] = decimal(back, 4)
    cp = heat_capacity_of_mix(
        [1 - by_mass, by_mass],
        [given["resin_cp_kj_kgk"] or UNFILLED_CP, given["filler_cp_kj_kgk"] or FILLER_CP],
    )
    answer.add("heat_capacity_kj_kgk", "Heat capacity", cp, "kJ/kgK", 3)
    if given["filler_w_mk"] is not None:
        _conductivity(answer, given["resin_w_mk"] or UNFILLED_W_MK, given["filler_w_mk"], phi)
    _equivalents(answer, form)
    answer.say("Forms from memory, not measurements. A measured value wins, where there is one.",
               "mind")  # fmt: skip
    return answer


def _conductivity(answer: Answer, matrix: float, filler: float, phi: float) -> None:
    low = conductivity_maxwell(matrix, filler, phi)
    answer.add(
        "conductivity_maxwell_w_mk", "Conducts at least", low, "W/mK", 3,
        "Maxwell: the lower bound; take it, it is the hot side.",
    )  # fmt: skip
    try:
        fitted = conductivity_lewis_nielsen(matrix, filler, phi)
        answer.add("conductivity_lewis_nielsen_w_mk", "Lewis-Nielsen", fitted, "W/mK", 3, "A fit.")
    except ValueError as error:
        answer.say(f"{error}.")
    bruggeman = conductivity_bruggeman(matrix, filler, phi)
    answer.add("conductivity_bruggeman_w_mk", "Bruggeman", bruggeman, "W/mK", 3)


def _equivalents(answer: Answer, form: PropertiesForm) -> None:
    given = form.cleaned_data
    epoxide, amine = given["epoxide_equivalent_g"], given["amine_equivalent_g"]
    if epoxide is None or amine is None:
        return
    from planning.core.casting.kinetics import gel_conversion, heat_of_cure_j_g

    answer.add("hardener_per_100", "Hardener to 100 of unfilled resin",
               stoichiometric_per_100(epoxide, amine), "by mass", 2)  # fmt: skip
    answer.add("heat_j_g", "Heat of cure", heat_of_cure_j_g(epoxide, amine), "J/g", 0,
               "Of the reactive part; 105 kJ for each epoxide.")  # fmt: skip
    gel = gel_conversion(given["amine_hydrogens"] or 4.0, 2.0)
    answer.add("gel_conversion", "Gels at a conversion of", gel, "", 3, "Rings delay it.")


def _interval(low: float, high: float, places: int) -> str:
    if math.isinf(high):
        return "No interval: too few readings."
    return f"95 %: {shown(low, places)} to {shown(high, places)}."


def _finite(value: float) -> str | None:
    return decimal(value, 2) if math.isfinite(value) else None


def _plain(figure: Fitted) -> dict[str, str | None]:
    return {
        "name": figure.name, "value": _short(figure.value),
        "low": _short(figure.low) if math.isfinite(figure.high) else None,
        "high": _short(figure.high) if math.isfinite(figure.high) else None,
    }  # fmt: skip


def _short(value: float) -> str:
    """Write a figure with five digits and without an exponent."""
    if not math.isfinite(value):
        return "–"
    if value == 0:
        return "0"
    places = max(0, 4 - math.floor(math.log10(abs(value))))
    return f"{value:.{min(places, 18)}f}"
