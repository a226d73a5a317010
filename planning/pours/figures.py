"""A field for a figure: a comma counts as a point, and a refusal names value and unit."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from shared.units import UnknownUnit, read_quantity


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


class Temperature(Figure):
    """
    A temperature in °C, or in °F where that is typed after it; kept in °C.

    Parameters
    ----------
    name : str
        What refusals call it.
    low, high : float
        Least and greatest that are taken, C.
    **options
        As for a field of decimals; it may stay empty unless told otherwise.
    """

    def __init__(self, *, name: str, low: float, high: float, **options: Any) -> None:
        words = f"{name} is %(show_value)s °C; it must be {low:g} to {high:g} °C."
        options = {"required": False, "max_digits": 5, "decimal_places": 1} | options
        options["help_text"] = f"{options.get('help_text', '')} Type 77 °F for °F.".strip()
        super().__init__(
            name=name, unit="°C", min_value=Decimal(str(low)), max_value=Decimal(str(high)),
            error_messages={"min_value": words, "max_value": words}, **options,
        )  # fmt: skip

    def to_python(self, value: Any) -> Any:
        """Return °C to the tenth."""
        text = str(value or "").strip()
        try:
            celsius = read_quantity(text, "c") if text else None
        except (UnknownUnit, ValueError):
            return super().to_python(value)  # refuses it by name
        return None if celsius is None else celsius.quantize(Decimal("0.1"))
