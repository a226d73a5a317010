"""The form of one row of a register, and what a list shows of it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from django import forms
from django.db.models import Model

from shared.access.models import Site

DAY = "%Y-%m-%d"
TAKEN = "already exists"
MOST_NAMED = 3
"""A rule of more fields than these is told on top."""


class RegisterForm(forms.ModelForm):
    """A form for one row of a register; the rest of the row keeps what it has."""

    hints: Mapping[str, str] = {}
    labels: Mapping[str, str] = {}

    def __init__(self, *args: Any, site: Site, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.site = site
        for name, field in self.fields.items():
            field.help_text = self.hints.get(name, field.help_text)
            field.label = self.labels.get(name, field.label)
            if isinstance(field, forms.DecimalField):
                field.widget = forms.TextInput(attrs={"inputmode": "decimal"})
                field.localize = False
            if isinstance(field, forms.DateField):
                field.widget = forms.DateInput(attrs={"type": "date"}, format=DAY)

    def _post_clean(self) -> None:
        """Leave the row as it is: the model's own checks run when it is written."""

    def add_prefixless_error(self, name: str, words: str) -> None:
        """
        Put an error beside its field, or on top where the form has no such field.

        A rule of several fields stands beside each it names; columns are called as the page does.
        """
        if TAKEN in words and (twice := [n for n in ("code", "day") if n.title() in words]):
            name, words = twice[0], "There is one of this already; give another."
        first = words.partition(" ")[0]
        named = [
            one
            for one in self.fields
            if one == first or ("_" in one and re.search(rf"\b{one}\b", words))
        ]
        for one in named:
            words = re.sub(rf"\b{one}\b", str(self.fields[one].label or one), words)
        if name in self.fields:
            self.add_error(name, words)
        elif not named or len(named) > MOST_NAMED:
            self.add_error(None, words)
        else:
            for one in named:
                self.add_error(one, words)

    def values(self) -> dict[str, Any]:
        """Return the columns to write."""
        return {name: self.cleaned_data[name] for name in self._meta.fields or ()}


CODE_HINT = "Short and lasting; it stands on labels and in files. Letters, digits, dot, hyphen."


def column_of(row: Model, name: str) -> Any:
    """Return what a list shows in one column of a row."""
    shown = getattr(row, f"get_{name}_display", None)
    value = shown() if shown else getattr(row, name)
    if isinstance(value, Iterable) and not isinstance(value, str):
        return ", ".join(str(one) for one in value)
    return value
