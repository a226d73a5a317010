"""Forms of the pour page: temperatures, steps with their measured values, demoulding."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from django import forms

from planning.pours.figures import Figure
from planning.pours.steps import within
from shared import wall_clock
from shared.errors import Invalid

NUMBER = "%(value)s is not a number; give digits with one point, in the unit named."


def number(low: float, high: float, unit: str, name: str, **options: Any) -> forms.DecimalField:
    """Return a field whose refusals name the field, the value, the limit and the unit."""
    words = f"{name} is %(show_value)s {unit}; it must be {low:g} to {high:g} {unit}."
    return Figure(
        name=name,
        unit=unit,
        min_value=Decimal(str(low)),
        max_value=Decimal(str(high)),
        error_messages={"min_value": words, "max_value": words},
        **options,
    )


class WallClockForm(forms.Form):
    """A time as the wall clock of the site shows it; of one shown twice it asks which is meant."""

    at_name: ClassVar[str] = "At"
    at_label: ClassVar[str] = "At; empty for now"

    at = forms.CharField(
        required=False, widget=forms.DateTimeInput(attrs={"type": "datetime-local"})
    )
    at_which = forms.ChoiceField(
        label="Which of the two",
        required=False,
        choices=[
            ("", "Choose"),
            ("earlier", "The first, before the clock was put back"),
            ("later", "The second, after the clock was put back"),
        ],
        widget=forms.HiddenInput,
    )

    def __init__(self, *args: Any, zone: ZoneInfo | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.zone = zone or ZoneInfo("UTC")
        self.fields["at"].label = self.at_label

    def clean(self) -> dict[str, Any]:
        """Turn the wall clock's time into a moment; None where nothing is given."""
        found = super().clean() or {}
        typed = found.get("at", "").strip()
        found["at"] = None
        if typed:
            try:
                which = found.get("at_which") or "ask"
                found["at"] = wall_clock.moment(typed, self.zone, name=self.at_name, twice=which)
            except Invalid as error:
                if error.problems[0].code == wall_clock.SHOWN_TWICE:
                    choices = self.fields["at_which"]
                    choices.widget = forms.Select(choices=choices.choices)
                self.add_error("at", error.message)
        return found


class TemperatureForm(WallClockForm):
    """A temperature that was seen: where, how warm, in which unit, and when."""

    at_name = "Seen at"
    at_label = "Seen at; empty for now"
    field_order = ("where", "degrees", "unit", "at", "at_which", "height_mm", "confirmed")

    where = forms.ChoiceField(
        label="Where",
        choices=[
            ("surface", "Surface of the casting"),
            ("core", "Core of the casting"),
            ("air", "Shop air"),
            ("oven", "Oven it stands in"),
        ],
    )
    degrees = number(
        -30, 572, "degrees", "Temperature", max_digits=5, decimal_places=1, label="Temperature"
    )
    unit = forms.ChoiceField(label="Unit", choices=[("celsius", "°C"), ("fahrenheit", "°F")])
    height_mm = number(
        0, 5000, "mm", "Height of the sensor", max_digits=5, decimal_places=1, required=False,
        label="Height of a core sensor above the base of its lift, mm",
    )  # fmt: skip
    confirmed = forms.BooleanField(required=False, widget=forms.HiddenInput)

    def ask(self, question: str) -> None:
        """Show the form again with the question, and a tick that answers it."""
        self.add_error("degrees", question)
        value = f"{self.cleaned_data.get('degrees', self.data.get('degrees'))} "
        value += "°F" if self.data.get("unit") == "fahrenheit" else "°C"
        self.fields["confirmed"].widget = forms.CheckboxInput()
        self["confirmed"].label = f"Yes, really {value}"


class OvenForm(WallClockForm):
    """Into the oven: what it is set to, and when."""

    field_order = ("set_c", "at", "at_which")
    set_c = number(
        25, 150, "°C", "Oven set to", max_digits=4, decimal_places=1, label="Oven set to, °C"
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, auto_id="oven_%s", **kwargs)


class OutOfOvenForm(WallClockForm):
    """Out of the oven: when."""

    at_name = "Out of the oven at"
    at_label = "Out of the oven at; empty for now"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, auto_id="out_%s", **kwargs)


class StepForm(forms.Form):
    """How long a step took and what was measured."""

    took_min = forms.IntegerField(
        label="Hands-on time, min",
        required=False,
        min_value=1,
        max_value=1440,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        error_messages={
            "min_value": "Hands-on time is %(show_value)s min; it must be 1 to 1440 min.",
            "max_value": "Hands-on time is %(show_value)s min; it must be 1 to 1440 min.",
            "invalid": "Hands-on time is no whole number; give minutes.",
        },
    )

    def __init__(self, *args: Any, checks: list[dict[str, Any]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.checks = checks
        for n, check in enumerate(checks):
            self.fields[f"check_{n}"] = self._field(check)
        self.fields["remark"] = forms.CharField(label="Remark", max_length=400, required=False)
        self.fields["photo"] = forms.FileField(
            label="Photo",
            required=False,
            widget=forms.FileInput(attrs={"accept": "image/*", "capture": "environment"}),
        )

    def _field(self, check: dict[str, Any]) -> forms.Field:
        what, unit = str(check.get("what", "Check")), str(check.get("unit") or "")
        low, high = check.get("low"), check.get("high")
        if low is None and high is None:
            return forms.BooleanField(
                label=what,
                required=False,
            )
        limits = " to ".join(str(v) for v in (low, high) if v is not None)
        return Figure(
            name=what,
            unit=unit,
            label=f"{what}, {unit}" if unit else what,
            help_text=f"Within {limits} {unit}. A value outside is recorded and shown.",
        )

    def clean(self) -> dict[str, Any]:
        """Ask for a remark where something is not so."""
        found = super().clean() or {}
        for n, check in enumerate(self.checks):
            open_tick = found.get(f"check_{n}") is False
            if open_tick and not found.get("remark"):
                what = str(check.get("what", "Check"))
                self.add_error(
                    f"check_{n}",
                    f"{what}: tick it once it is so, or say in the remark why it is not.",
                )
        return found

    def results(self) -> list[dict[str, Any]]:
        """Return the measured values beside their limits, each judged."""
        found = []
        for n, check in enumerate(self.checks):
            value = self.cleaned_data[f"check_{n}"]
            row = {**check, "value": value if isinstance(value, bool) else str(value)}
            row["within"] = value if isinstance(value, bool) else within(value, check)
            found.append(row)
        return found


class DemouldForm(forms.Form):
    """Taking a casting off: what was seen and measured, and the verdict."""

    key = forms.CharField(widget=forms.HiddenInput)
    verdict = forms.ChoiceField(
        choices=[("accept", "Accept"), ("rework", "Rework"), ("reject", "Reject")],
        widget=forms.RadioSelect,
        error_messages={"required": "Choose accept, rework or reject."},
    )
    hardness_shore_d = number(
        0, 100, "Shore D", "Hardness", label="Hardness, Shore D", required=False,
        max_digits=4, decimal_places=1,
    )  # fmt: skip
    thickness_mm = number(
        0, 10000, "mm", "Thickness", label="Least thickness measured, mm", required=False,
        max_digits=7, decimal_places=1,
    )  # fmt: skip
    released_well = forms.BooleanField(label="It released well", required=False, initial=True)
    defects = forms.CharField(
        label="Defects",
        max_length=400,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    photo = forms.FileField(
        required=False,
        widget=forms.FileInput(attrs={"accept": "image/*", "capture": "environment"}),
    )
    early_reason = forms.CharField(
        label="If the cure time has not run: why is it taken off now?",
        max_length=200,
        required=False,
    )
