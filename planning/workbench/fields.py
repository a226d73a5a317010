"""Fields of a calculator's form: every refusal names the field, the value, the limit, the unit."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from shared.units import UnknownUnit, read_quantity

_UNITS = {"°C": "c", "kg": "kg", "g": "g", "mm": "mm", "L": "l", "min": "min", "h": "h"}
_FINE = Decimal("0.000000001")
_NUMBER = re.compile(r"-?\d{1,12}(\.\d{1,9})?")


class Refused(ValidationError):
    """A field's refusal with the figures programs read."""

    def __init__(
        self,
        message: str,
        code: str,
        *,
        value: object = None,
        limit: object = None,
        unit: str = "",
    ) -> None:
        super().__init__(message, code)
        self.facts = {
            name: str(fact)
            for name, fact in (("value", value), ("limit", limit), ("unit", unit))
            if fact not in (None, "")
        }


class Quantity(forms.Field):
    """A number with its unit, between two bounds; `above` excludes the lower one."""

    def __init__(
        self, label: str, unit: str, low: float, high: float, *, above: bool = False, **kwargs: Any
    ) -> None:
        self.unit, self.low, self.high, self.above = unit, low, high, above
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal"}))
        super().__init__(label=f"{label}, {unit}" if unit else label, **kwargs)
        self.name = ""
        """Filled in by the form, so that a refusal can name the field."""

    @property
    def bounds(self) -> str:
        """What is accepted, in words."""
        unit = f" {self.unit}" if self.unit else ""
        if self.above:
            return f"above {self.low:g} and at most {self.high:g}{unit}"
        return f"{self.low:g} to {self.high:g}{unit}"

    def clean(self, value: Any) -> float | None:
        """Return the number; nothing where the field may stay empty."""
        text = "" if value is None else str(value).strip()
        if not text:
            if self.required:
                raise Refused(
                    f"{self.name} is missing; give {self.bounds}.", "required",
                    limit=self.bounds, unit=self.unit,
                )  # fmt: skip
            return None
        text = self._in_own_unit(text)
        if not _NUMBER.fullmatch(text) or not text.isascii():
            raise Refused(
                f"{self.name} is {text[:40]!r}; it must be a number such as 12.5, with a point.",
                "not_decimal", value=text[:40], unit=self.unit,
            )  # fmt: skip
        number = float(text)
        if not self.low <= number <= self.high or (self.above and number == self.low):
            unit = f" {self.unit}" if self.unit else ""
            raise Refused(
                f"{self.name} is {text}{unit}; it must be {self.bounds}.",
                "out_of_range", value=text, limit=self.bounds, unit=self.unit,
            )  # fmt: skip
        return number

    def _in_own_unit(self, text: str) -> str:
        """Return a figure that was typed with another unit, such as 77 °F, in this one."""
        unit = _UNITS.get(self.unit)
        if unit is None or _NUMBER.fullmatch(text):
            return text
        try:
            # Rounded where no scale or thermometer can tell: the figures after it are of floats.
            return f"{read_quantity(text, unit).quantize(_FINE).normalize():f}"
        except (UnknownUnit, ValueError, ArithmeticError):
            return text


class Choice(forms.ChoiceField):
    """One of a few; a refusal lists them."""

    def __init__(self, label: str, **kwargs: Any) -> None:
        super().__init__(label=label, **kwargs)
        self.name = ""

    @property
    def keys(self) -> list[str]:
        """What may be sent."""
        pairs: Any = self.choices
        return [str(key) for key, _ in pairs if key != ""]

    def clean(self, value: Any) -> str:
        """Return the choice; the initial one when it is left out."""
        text = "" if value is None else str(value).strip()
        if value is None and self.initial is not None:
            return str(self.initial)
        allowed = self.keys
        if not text and self.initial is None:
            if self.required:
                listed = ", ".join(allowed) or "nothing yet"
                raise Refused(f"{self.name} is missing; choose one of {listed}.", "required")
            return ""
        if text not in allowed:
            listed = ", ".join(allowed)
            raise Refused(
                f"{self.name} is {text[:60]!r}; it must be one of {listed}.", "not_a_choice",
                value=text[:60], limit=listed,
            )  # fmt: skip
        return text


class Lines(forms.CharField):
    """Several lines of text, such as a record pasted from a logger."""

    MOST = 3000
    """A longer one does not fit in an address, and a link carries the inputs."""

    def __init__(self, label: str, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.Textarea(attrs={"rows": 6, "spellcheck": "false"}))
        super().__init__(label=label, strip=True, **kwargs)
        self.name = ""

    def clean(self, value: Any) -> str:
        """Return the text."""
        text = "" if value is None else str(value).replace("\r\n", "\n").strip()
        if not text and self.required:
            raise Refused(f"{self.name} is missing; give at least one line.", "required")
        if len(text) > self.MOST:
            raise Refused(
                f"{self.name} has {len(text)} characters; at most {self.MOST} fit in a link. "
                "Leave out every other reading.",
                "too_long", value=len(text), limit=self.MOST, unit="characters",
            )  # fmt: skip
        return text
