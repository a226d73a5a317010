"""Chances and shots with their ranges, in words."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import template

register = template.Library()

THIN = "\u202f"


@register.filter
def shots(value: float) -> str:
    """Write shots with the three figures that count, rounded down: 1 240 rather than 1 243.7."""
    if value >= 1_000_000:
        return "over 1 million"
    step = 10 ** max(0, len(str(int(value))) - 3)
    return f"{int(value / step) * step:,}".replace(",", THIN)


@register.filter
def chance(value: float) -> str:
    """Write a chance in whole per cent; never 100 or 0 where it is not quite."""
    if 0.99 < value < 1:
        return "over 99 %"
    if 0 < value < 0.01:
        return "below 1 %"
    return f"{100 * value:.0f} %"


@register.filter
def chance_range(spread: Any) -> str:
    """Write the range of a chance."""
    low, high = _ends(spread)
    return f"{100 * low:.0f} to {100 * high:.0f} %"


@register.filter
def shots_range(spread: Any) -> str:
    """Write shots with their range behind them."""
    low, high = _ends(spread)
    return f"{shots(spread.middle)} ({shots(low)} to {shots(high)})"


@register.filter
def range_words(spread: Any) -> str:
    """Say the range that holds the true figure in 90 of 100 cases."""
    low, high = _ends(spread)
    return f"{shots(low)} to {shots(high)} in 90 of 100 cases"


@register.filter
def shape_words(spread: Any) -> str:
    """Say what a shape means for wear."""
    low, high = _ends(spread)
    meaning = (
        "tools wear out" if low > 1 else "young tools fail" if high < 1 else "wear not proven"
    )
    return f"{low:.2f} to {high:.2f} in 90 of 100 cases: {meaning}"


def _ends(spread: Any) -> tuple[float, float]:
    if isinstance(spread, dict):
        return spread["low"], spread["high"]
    return spread.low, spread.high


@register.filter
def plain(value: Decimal | None) -> str:
    """Return an exact figure without zeros at its end; nothing where there is none."""
    return "" if value is None else f"{value.normalize():f}"
