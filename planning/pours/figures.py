"""A field for a figure: a comma counts as a point, and a refusal names value and unit."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError


class Figure(forms.DecimalField):
    """
    A decimal figure.

    Parameters
    ----------
    name, unit : str
        What refusals call it, and the unit it is given in; the unit may be empty.
    **options
        As for a field of decimals. Required, it says that it is empty.
    """

    def __init__(self, *, name: str, unit: str = "", **options: Any) -> None:
        self.said_name, self.said_unit = name, unit
        words = {"required": f"{name} is empty; give it{f' in {unit}' if unit else ''}."}
        super().__init__(
            widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
            error_messages=words | options.pop("error_messages", {}),
            **options,
        )

    def to_python(self, value: Any) -> Any:
        """Return the figure, or nothing where it may stay empty."""
        try:
            return super().to_python(str(value or "").strip().replace(",", "."))
        except ValidationError:
            unit = f" in {self.said_unit}" if self.said_unit else ""
            raise ValidationError(
                f"{self.said_name} is {str(value)[:20]}; it must be a number{unit}, such as 12.5.",
                code="invalid",
            ) from None
