"""Round numbers for the axes of pictures."""

from __future__ import annotations


def nice(value: float) -> float:
    """Return the next of 1, 2, 2.5, 5, 10 times a power of ten at or above a value."""
    if value <= 0:
        return 0.0
    power = 10.0 ** len(str(int(value))) / 10 if value >= 1 else 0.1
    while power > value:
        power /= 10
    return next(f * power for f in (1, 2, 2.5, 5, 10) if f * power >= value - 1e-12)


def levels(low: float, high: float, about: int = 5) -> list[float]:
    """Return round numbers from `low` to `high`, about so many; 0 is one where it lies between."""
    step = nice((high - low) / about) or 1.0
    first = -int(-low // step)
    return [n * step for n in range(first, int(high / step + 1e-9) + 1)]
