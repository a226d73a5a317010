"""A batch's figures as they stand on paper: to the scale's division, and adding up as printed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any
from zoneinfo import ZoneInfo

from shared.units import round_to_division
from shared.wall_clock import clock_words


@dataclass(frozen=True)
class PrintedBatch:
    """
    The figures of one batch, kg as text.

    Attributes
    ----------
    targets, lows, highs : tuple of str
        One a row to weigh, in the sheet's order.
    total : str
        Sum of the targets, exactly as printed.
    portions : tuple of str
        What goes into each lift; with `left` they add up to `total`, exactly as printed.
    left : str
        What stays in the pot and on the tools.
    """

    targets: tuple[str, ...]
    lows: tuple[str, ...]
    highs: tuple[str, ...]
    total: str
    portions: tuple[str, ...]
    left: str


def decimals_of(readability_g: Decimal | None) -> int:
    """Return how many decimals of a kilogram a scale shows; 4 when no scale is named."""
    if readability_g is None:
        return 4
    exponent = (Decimal(readability_g) / 1000).normalize().as_tuple().exponent
    assert isinstance(exponent, int)
    return min(6, max(0, -exponent))


def printed(batch: Mapping[str, Any]) -> PrintedBatch:
    """Return the figures of a row of `queries.sheet` as they are printed."""
    places = decimals_of(batch["readability_g"])
    step = Decimal(1).scaleb(-places)

    def text(value: Decimal) -> str:
        return f"{value.quantize(step, ROUND_HALF_EVEN):f}"

    def poured(kg: Decimal) -> Decimal:
        division = batch["readability_g"]
        whole = kg if division is None else round_to_division(kg, Decimal(division) / 1000)
        return whole.quantize(step, ROUND_HALF_EVEN)

    targets = [line["aim_kg"].quantize(step, ROUND_HALF_EVEN) for line in batch["lines"]]
    total = sum(targets, Decimal(0))
    portions = [poured(p["kg"]) for p in batch["portions"]]
    left = total - sum(portions, Decimal(0))
    if left < 0 and portions:
        portions[-1] += left
        left = Decimal(0)
    return PrintedBatch(
        tuple(text(t) for t in targets),
        tuple(text(line["low_kg"]) for line in batch["lines"]),
        tuple(text(line["high_kg"]) for line in batch["lines"]),
        text(total),
        tuple(text(p) for p in portions),
        text(left),
    )


def clock_text(moment: datetime | None, zone: str) -> str:
    """Return the clock time at the site, or a dash."""
    return "–" if moment is None else clock_words(moment.astimezone(ZoneInfo(zone)))


def day_clock_text(moment: datetime | None, zone: str) -> str:
    """Return day and clock time at the site, or a dash."""
    if moment is None:
        return "–"
    local = moment.astimezone(ZoneInfo(zone))
    return f"{local:%a %d %b} {clock_words(local)}"
