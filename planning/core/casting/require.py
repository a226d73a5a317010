"""Refusals shared by the physics: each names the quantity, its value and what is accepted."""

from __future__ import annotations

import math

ABSOLUTE_ZERO_C = -273.15


def finite(**values: float) -> None:
    """Refuse NaN and infinities."""
    for name, value in values.items():
        if not math.isfinite(value):
            raise ValueError(f"{name} is {value}; it must be a finite number")


def positive(**values: float) -> None:
    """Refuse anything that is not a finite number above 0."""
    finite(**values)
    for name, value in values.items():
        if not value > 0:
            raise ValueError(f"{name} is {value:g}; it must be above 0")


def not_negative(**values: float) -> None:
    """Refuse anything that is not a finite number of 0 or more."""
    finite(**values)
    for name, value in values.items():
        if value < 0:
            raise ValueError(f"{name} is {value:g}; it must be 0 or more")


def within(low: float, high: float, **values: float) -> None:
    """Refuse anything outside ``low..high``, both included."""
    finite(**values)
    for name, value in values.items():
        if not low <= value <= high:
            raise ValueError(f"{name} is {value:g}; it must lie in {low:g} to {high:g}")


def temperature(**values_c: float) -> None:
    """Refuse temperatures at or below absolute zero."""
    finite(**values_c)
    for name, value in values_c.items():
        if value <= ABSOLUTE_ZERO_C:
            raise ValueError(f"{name} is {value:g} C; it must be above {ABSOLUTE_ZERO_C} C")
