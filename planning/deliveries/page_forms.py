"""Forms of the pages of deliveries: what is sent to whom, and what came back."""

from __future__ import annotations

from typing import Any

from django import forms

from planning.cures.page_forms import WallClockForm
from planning.pours.models import Pour


def _castings(label: str, missing: str) -> forms.ModelMultipleChoiceField:
    field = forms.ModelMultipleChoiceField(
        queryset=Pour.objects.none(), widget=forms.CheckboxSelectMultiple, label=label
    )
    field.error_messages |= {
        "required": missing,
        "invalid_choice": "A casting that was ticked may not go any more; look at the list again.",
    }
    return field


class _Castings(WallClockForm):
    def __init__(self, *args: Any, castings: Any, key: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["pours"].queryset = castings
        self.fields["key"].initial = key

    def values(self) -> dict[str, Any]:
        """Return what the action takes."""
        values = {name: v for name, v in self.cleaned_data.items() if name != "at_which"}
        return {**values, "key": f"page:{values['key']}", "pours": list(values["pours"])}


class SendForm(_Castings):
    """What is sent, to whom, and how."""

    at_name = "Left at"
    at_label = "Left at; empty for now"
    field_order = ("pours", "recipient", "address", "carrier", "carrier_reference", "packages",
                   "at", "at_which", "remarks", "key")  # fmt: skip

    pours = _castings("Castings that stand ready", "Tick at least one casting.")
    recipient = forms.CharField(
        label="To whom", max_length=120, required=False, help_text="Empty: the customer."
    )
    address = forms.CharField(
        label="Address", max_length=400, required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="Empty: where the last delivery to them went.",
    )  # fmt: skip
    carrier = forms.CharField(label="Carrier", max_length=80, required=False)
    carrier_reference = forms.CharField(label="Carrier's number", max_length=80, required=False)
    packages = forms.IntegerField(
        label="Packages", min_value=1, max_value=10_000, required=False,
        error_messages={
            "min_value": "Packages is %(show_value)s; it must be 1 to 10,000.",
            "max_value": "Packages is %(show_value)s; it must be 1 to 10,000.",
            "invalid": "Packages must be a whole number, 1 to 10,000.",
        },
    )  # fmt: skip
    remarks = forms.CharField(label="Remarks", max_length=400, required=False)
    key = forms.CharField(max_length=64, widget=forms.HiddenInput)


class BackForm(_Castings):
    """What came back, and why."""

    at_name = "Back at"
    at_label = "Back at; empty for now"
    field_order = ("pours", "reason", "at", "at_which", "key")

    pours = _castings("Castings that came back", "Tick at least one casting.")
    reason = forms.CharField(
        label="Why", max_length=200, help_text="Told to the customer's ordering system."
    )
    key = forms.CharField(max_length=64, widget=forms.HiddenInput)
