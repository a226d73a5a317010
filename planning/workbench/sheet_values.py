"""What the values of a data sheet come to before they are saved, beside the former."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

from planning.core.casting.cure import demould_min
from planning.core.casting.faces import AIR_TOP, tool_side
from planning.core.casting.limits import deepest_lift
from planning.core.casting.pot_life import pot_life_min
from planning.core.casting.system import Datasheet, SystemData, TimePoint
from planning.workbench.answer import Answer, Table, decimal, shown
from planning.workbench.heat import say_cautions
from planning.workbench.inputs import SheetValuesForm

SHOP_TEMPS_C = (15, 20, 25, 30)
POINTS = {
    "pot_life": "pot_life_min",
    "gel": "gel_time_min",
    "least_gap": "gap_least_min",
    "greatest_gap": "gap_greatest_min",
    "demould": "demould_min",
}
"""Times of the data sheet as the physics names them, and as the register does."""


def sheet_values(form: SheetValuesForm) -> Answer | None:
    """Return pot life, deepest lift and demould time at usual shop temperatures."""
    system = _typed(form)
    if form.errors or system is None:
        return None
    answer = Answer()
    former = None if form.info is None else form.chosen
    rows = []
    for shop_c in SHOP_TEMPS_C:
        now = _figures(system, form, shop_c)
        was = {} if former is None else _figures(former, form, shop_c)
        for name, value in now.items():
            answer.data[f"{name}_at_{shop_c}_c"] = decimal(value, 0)
            answer.data[f"former_{name}_at_{shop_c}_c"] = decimal(was.get(name), 0)
        rows.append((
            f"{shop_c} °C", *(_beside(value, was.get(name)) for name, value in now.items())
        ))  # fmt: skip
    heads = ("Shop", "Pot life, min", "Deepest lift, mm", "Demould after, h")
    beside = "" if former is None else ", with the former value in brackets"
    answer.tables.append(Table(f"What these values come to{beside}", heads, tuple(rows)))
    say_cautions(answer, system, float(SHOP_TEMPS_C[0]), float(SHOP_TEMPS_C[-1]))
    return answer


def _beside(value: float | None, was: float | None) -> str:
    text = shown(value, 0)
    return text if was is None else f"{text} ({shown(was, 0)})"


def _figures(system: SystemData, form: SheetValuesForm, shop_c: float) -> dict[str, float | None]:
    base = tool_side(form.cleaned_data["tool_side"])
    demould = demould_min(system, shop_c).value
    return {
        "pot_life_min": pot_life_min(system, shop_c, form.cleaned_data["batch_kg"]).value,
        "deepest_lift_mm": deepest_lift(system, shop_c, base, AIR_TOP).value,
        "demould_h": None if demould is None else demould / 60,
    }


def _typed(form: SheetValuesForm) -> SystemData | None:
    """Return the system as typed: what is left out stays as the former system has it."""
    info = form.info
    was: Any = SimpleNamespace() if info is None else info
    values = {
        name: form.needed(name, _number(getattr(was, name, None)))
        if name in SheetValuesForm.NEEDED
        else form.given(name, _number(getattr(was, name, None)))
        for name in SheetValuesForm.VALUES
    }
    if form.errors:
        return None
    at_c, mass_kg = values["reference_c"], values["pot_life_mass_kg"]
    assert at_c is not None
    points = {
        name: TimePoint(minutes, at_c, mass_kg if name == "pot_life" else None)
        for name, column in POINTS.items()
        if (minutes := values[column])
    }
    energy = values["activation_kj_mol"]
    return replace(
        form.chosen,
        datasheet=Datasheet(deepest_lift_mm=values["deepest_lift_mm"], **points),
        e_j_mol=None if energy is None else 1000 * energy,
        peak_cap_c=values["cap_c"],
    )


def _number(value: Any) -> float | None:
    return None if value is None else float(value)
