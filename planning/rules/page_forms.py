"""The foreman's form: one field for each rule, with its unit and a sentence of help."""

from __future__ import annotations

from dataclasses import fields
from datetime import time
from typing import Any

from django import forms

from planning.core.problem import Settings
from planning.rules.actions import (
    COLDEST_NIGHT_C,
    RULES,
    WARMEST_NIGHT_C,
    Rule,
    settings_of,
)
from planning.rules.models import PlanningRules

WHOLE = {
    "most_tools_per_batch",
    "extra_lifts",
    "coat_to_pour_most_min",
}
MAY_BE_EMPTY = {"last_pour_clock_min", "coat_to_pour_most_min", "late_minutes_per_pot"}


CLOCK = {"last_pour_clock_min"}
"""Minutes past midnight, shown as a time of day."""


class RulesForm(forms.Form):
    """Built from `RULES`, so that a setting cannot be forgotten here."""

    def __init__(self, data: Any = None, *, rules: PlanningRules) -> None:
        settings = settings_of(rules)
        initial = {name: getattr(settings, name) for name in RULES}
        initial |= {name: _time_of(initial[name]) for name in CLOCK}
        own = {
            "freeze_hours": rules.freeze_hours,
            "own_times": rules.own_times,
            "night_c": rules.night_c,
        }
        super().__init__(data, initial={**initial, **own, "seen": rules.version})
        usual = {field.name: field.default for field in fields(Settings)}
        for name, rule in RULES.items():
            self.fields[name] = _field(name, rule, usual[name])
        self.fields["freeze_hours"] = forms.DecimalField(
            label="Hours ahead that stay as they are",
            min_value=0,
            max_value=336,
            max_digits=5,
            decimal_places=1,
            help_text="Planned work that starts within so many hours is not moved. Usual: 0 h.",
        )
        self.fields["own_times"] = forms.BooleanField(
            label="Hands-on times from the shop's own records",
            required=False,
            help_text="A step is planned as long as it took here, once three are recorded; each "
            "route's page says how long and why. Usual: yes.",
        )
        self.fields["night_c"] = forms.DecimalField(
            label="Coldest at night, °C",
            required=False,
            min_value=COLDEST_NIGHT_C,
            max_value=WARMEST_NIGHT_C,
            max_digits=4,
            decimal_places=1,
            help_text="Where nobody read the air of the shop for hours, castings are timed as if "
            "it had been as cold as this. Empty: 8 K below the temperature expected.",
        )
        self.fields["seen"] = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def values(self) -> dict[str, Any]:
        """Return what was chosen, as `keep_rules` takes it."""
        found = {name: self.cleaned_data[name] for name in RULES}
        for name in CLOCK:
            at = found[name]
            found[name] = None if at is None else at.hour * 60 + at.minute
        return {
            name: float(value) if type(value).__name__ == "Decimal" else value
            for name, value in found.items()
        }


def _time_of(minute: int | None) -> time | None:
    return None if minute is None else time(minute // 60 % 24, minute % 60)


def _label(name: str, rule: Rule) -> str:
    """Return the label with its unit, unless it names it already or shows a time of day."""
    named = rule.unit in rule.label.lower() or (rule.unit == "min" and "minutes" in rule.label)
    return rule.label if named or name in CLOCK else f"{rule.label}, {rule.unit}"


def _field(name: str, rule: Rule, usual: Any) -> forms.Field:
    usual = int(usual) if isinstance(usual, float) and usual.is_integer() else usual
    shown = "empty" if usual is None else "yes" if usual is True else usual
    shown = "no" if shown is False else dict(rule.choices).get(shown, shown)
    common: dict[str, Any] = {
        "label": _label(name, rule),
        "help_text": f"{rule.help} Usual: {shown}.",
        "required": name not in MAY_BE_EMPTY,
    }
    if isinstance(usual, bool):
        return forms.BooleanField(**{**common, "required": False})
    if rule.choices:
        return forms.ChoiceField(choices=rule.choices, **common)
    if name in CLOCK:
        return forms.TimeField(
            widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"), **common
        )
    if name in WHOLE:
        return forms.IntegerField(min_value=0, max_value=100_000, **common)
    return forms.DecimalField(
        min_value=0, max_value=100_000, max_digits=9, decimal_places=3, **common
    )
