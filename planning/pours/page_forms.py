"""Forms of the orders page: a tool order with its pours, and a file of them."""

from __future__ import annotations

from typing import Any

from django import forms

from planning.pours.figures import Figure, Temperature
from planning.pours.models import ToolSide
from planning.routes.models import Route
from shop import stores


def _number(label: str, **options: Any) -> Figure:
    name, _, unit = label.rpartition(", ")
    return Figure(name=name, unit=unit, label=label, **options)


def _degrees(label: str, most: int, hint: str) -> Temperature:
    return Temperature(name=label, low=0, high=most, label=f"{label}, °C", help_text=hint)


def _day(label: str, required: bool = True) -> forms.DateField:
    return forms.DateField(
        label=label,
        required=required,
        widget=forms.DateInput(attrs={"type": "date"}),
        error_messages={"invalid": f"{label}: there is no such date; write 2026-11-30."},
    )


class OrderForm(forms.Form):
    """What is wanted, by when."""

    tool_code = forms.CharField(label="Tool, code", max_length=40)
    tool_name = forms.CharField(label="Tool, name", max_length=120, required=False)
    tool_code.error_messages["required"] = "The tool's code is empty; give one, such as CUP-7."
    route = forms.ModelChoiceField(queryset=Route.objects.all(), empty_label=None)
    due_on = _day("Due on")
    earliest_on = _day("Not before", required=False)
    priority = forms.IntegerField(
        min_value=1,
        max_value=9,
        initial=1,
        help_text="1 usual, 9 most pressing.",
        error_messages={
            "min_value": "Priority is %(show_value)s; it must be 1 to 9.",
            "max_value": "Priority is %(show_value)s; it must be 1 to 9.",
        },
    )
    customer = forms.CharField(max_length=120, required=False)
    remarks = forms.CharField(max_length=400, required=False)


def _reason(required: bool) -> forms.CharField:
    return forms.CharField(
        label="Why",
        max_length=200,
        required=required,
        help_text="Shown with the new plan, and told to the customer's ordering system.",
    )


class ChangeOrderForm(forms.Form):
    """What may be changed of an order that is under way."""

    due_on = _day("Due on")
    earliest_on = _day("Not before", required=False)
    priority = forms.IntegerField(min_value=1, max_value=9, help_text="1 usual, 9 most pressing.")
    route = forms.ModelChoiceField(queryset=Route.objects.all(), empty_label=None)
    customer = forms.CharField(max_length=120, required=False)
    customer_reference = forms.CharField(max_length=80, required=False)
    remarks = forms.CharField(max_length=400, required=False)
    reason = _reason(required=False)

    def changes(self) -> dict[str, Any]:
        """Return the columns as filled in; the reason is no column."""
        return {name: value for name, value in self.cleaned_data.items() if name != "reason"}


class HoldForm(forms.Form):
    """Why an order is put on hold."""

    reason = _reason(required=True)


class MayGiveReasonForm(forms.Form):
    """Why something is done, if there is something to say."""

    reason = _reason(required=False)


class QuantityForm(forms.Form):
    """How many pieces of one tool are wanted."""

    quantity = forms.IntegerField(
        label="Pieces in all",
        min_value=1,
        max_value=50,
        help_text="Each further piece becomes an order of its own; fewer are cancelled, the last "
        "first.",
    )
    reason = _reason(required=False)


class PourForm(forms.Form):
    """What one half is cast from and how large it is: a box less its pattern, or a volume."""

    system_id = forms.ChoiceField(label="Resin system")
    geometry = forms.ChoiceField(
        choices=[("box", "Box and pattern"), ("volume", "Stated volume")],
        label="Size given as",
        help_text="A pattern from a drawing is used afterwards, on the pattern's own page.",
    )
    depth_mm = _number("Depth of the casting, mm")
    length_mm = _number("Length inside the barriers, mm", required=False)
    width_mm = _number("Width inside the barriers, mm", required=False)
    draft_deg = _number("Draft of the barriers, degrees", required=False)
    pattern_l = _number("Volume of the pattern in the box, L", required=False)
    pattern_height_mm = _number("Height of the pattern, mm", required=False)
    stated_l = _number("Stated volume, L", required=False)
    brush_coat_kg = _number("Brush coat, kg", required=False)
    release_recipe_id = forms.ChoiceField(label="Release coats", required=False)
    tool_side = forms.ChoiceField(label="It stands on", choices=ToolSide.choices)
    mix_c = _degrees("Planned temperature of the mix", 60, "Empty: as warm as the shop.")
    mould_c = _degrees("Temperature of a heated or cooled mould", 150, "Empty: as the shop.")
    oven_c = _degrees("Temperature of the oven it is poured in", 150, "Empty: in the shop.")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["system_id"].choices = [(s.id, s.name) for s in stores.systems()]
        self.fields["release_recipe_id"].choices = [
            ("", "None"),
            *((r.id, r.name) for r in stores.recipes()),
        ]

    def values(self, half: str) -> dict[str, Any]:
        """Return what the order takes: only what was given."""
        found = {n: v for n, v in self.cleaned_data.items() if v not in (None, "")}
        found["system_id"] = int(found["system_id"])
        if "release_recipe_id" in found:
            found["release_recipe_id"] = int(found["release_recipe_id"])
        return {**found, "half": half}


class ChangePourForm(PourForm):
    """A pour that is asked for or planned, to be changed."""

    reason = _reason(required=False)

    def changes(self, pour: Any) -> dict[str, Any]:
        """Return what differs from the pour; a field left empty takes its usual value."""
        found = {}
        for name, value in self.cleaned_data.items():
            if name == "reason" or (name == "geometry" and pour.geometry == "mesh"):
                continue
            if name.endswith("_id"):
                value = int(value) if value else None
            elif value in (None, ""):
                field = pour._meta.get_field(name)
                value = None if field.null else field.get_default()
            if value != getattr(pour, name):
                found[name] = value
        return found


class FileForm(forms.Form):
    """A file of orders, one pour a row."""

    file = forms.FileField(
        label="CSV file", help_text="All rows are taken in, or none and every bad one named."
    )
    only_look = forms.BooleanField(label="Only check the file, store nothing", required=False)
