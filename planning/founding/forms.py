"""The form of the first start."""

from __future__ import annotations

from decimal import Decimal
from typing import Any
from zoneinfo import available_timezones

from django import forms


def _zones() -> list[tuple[str, str]]:
    """Return the zones people live in, by place; the plain UTC first."""
    places = sorted(z for z in available_timezones() if "/" in z and not z.startswith("Etc/"))
    return [("UTC", "UTC"), *((zone, zone.replace("_", " ")) for zone in places)]


class ShopForm(forms.Form):
    """Name, time zone and usual temperature of the shop, and its first administrator."""

    name = forms.CharField(
        label="Name of the shop", max_length=120, help_text="It stands on sheets and labels."
    )
    time_zone = forms.ChoiceField(
        label="Time zone", help_text="All hours on pages and paper are told in it."
    )
    expected_c = forms.DecimalField(
        label="Usual shop temperature, °C",
        min_value=Decimal(0),
        max_value=Decimal(45),
        max_digits=4,
        decimal_places=1,
        initial=Decimal(20),
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        help_text="Pot life, lifts and cure are planned with it until real temperatures come in.",
    )
    username = forms.CharField(label="Your name to sign in with", max_length=150)
    password = forms.CharField(
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="8 characters or more; 15 or more is better.",
    )
    again = forms.CharField(
        label="Password once more",
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def __init__(self, *args: Any, with_account: bool = True, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["time_zone"].choices = _zones()
        if not with_account:
            for name in ("username", "password", "again"):
                del self.fields[name]

    def clean(self) -> dict[str, Any]:
        """Refuse two passwords that differ."""
        found = super().clean() or {}
        again = found.pop("again", None)
        if again is not None and found.get("password") not in (None, again):
            self.add_error("again", "The two passwords differ; type the same one twice.")
        return found


class ArchiveForm(forms.Form):
    """The whole of a shop, and who signs in to it first."""

    file = forms.FileField(
        label="Archive of a shop",
        help_text="A .zip from Set-up, Copies of the shop. A workbook is read in after founding.",
    )
    admin = forms.CharField(
        label="Your name to sign in with, as it is in the archive", max_length=150
    )
    password = forms.CharField(
        label="Your new password",
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, auto_id="archive-%s", **kwargs)
