"""The foreman's form: one field for each rule, with its unit and a sentence of help."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from django import forms

from planning.core.problem import Settings
from planning.week_plan.models import PlanningRules
from planning.week_plan.rules import RULES, Rule, settings_of

WHOLE = {
    "most_tools_per_batch",
    "extra_lifts",
    "last_pour_clock_min",
    "coat_to_pour_most_min",
}
MAY_BE_EMPTY = {"last_pour_clock_min", "coat_to_pour_most_min", "late_minutes_per_pot"}


class RulesForm(forms.Form):
    """Built from `RULES`, so that a setting cannot be forgotten here."""

    def __init__(self, data: Any = None, *, rules: PlanningRules) -> None:
        settings = settings_of(rules)
        initial = {name: getattr(settings, name) for name in RULES}
        own = {"freeze_hours": rules.freeze_hours, "own_times": rules.own_times}
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
        self.fields["seen"] = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def values(self) -> dict[str, Any]:
        """Return what was chosen, as `keep_rules` takes it."""
        found = {name: self.cleaned_data[name] for name in RULES}
        return {
            name: float(value) if type(value).__name__ == "Decimal" else value
            for name, value in found.items()
        }


def _field(name: str, rule: Rule, usual: Any) -> forms.Field:
    shown = "empty" if usual is None else "yes" if usual is True else usual
    shown = "no" if shown is False else dict(rule.choices).get(shown, shown)
    common: dict[str, Any] = {
        "label": f"{rule.label}, {rule.unit}" if rule.unit else rule.label,
        "help_text": f"{rule.help} Usual: {shown}.",
        "required": name not in MAY_BE_EMPTY,
    }
    if isinstance(usual, bool):
        return forms.BooleanField(**{**common, "required": False})
    if rule.choices:
        return forms.ChoiceField(choices=rule.choices, **common)
    if name in WHOLE:
        return forms.IntegerField(min_value=0, max_value=100_000, **common)
    return forms.DecimalField(
        min_value=0, max_value=100_000, max_digits=9, decimal_places=3, **common
    )
