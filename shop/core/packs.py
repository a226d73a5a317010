"""Packs a supplier sells, with their price breaks, in whole steps of the ledger."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

STEPS_PER_UNIT = 10_000
"""A quantity is told to 0.0001 of its unit, as the ledger does."""


@dataclass(frozen=True)
class Pack:
    """
    A pack with its price breaks.

    `prices` are pairs (from this many packs, price of each pack): all packs of an order have the
    price of the highest break reached.
    """

    name: str
    content: float
    prices: tuple[tuple[int, float], ...]
    least_packs: int = 1

    def __post_init__(self) -> None:
        if not self.content > 0 or self.steps < 1:
            raise ValueError(f"pack {self.name} holds {self.content}; it must be above 0")
        if not self.prices or any(price < 0 or start < 1 for start, price in self.prices):
            raise ValueError(f"pack {self.name} needs prices of 0 or more, from 1 pack or more")
        if self.least_packs < 1:
            raise ValueError(f"pack {self.name}: least_packs is {self.least_packs}; 1 or more")

    @property
    def steps(self) -> int:
        """Content in whole steps."""
        return round(self.content * STEPS_PER_UNIT)

    @property
    def tiers(self) -> tuple[tuple[int, int | None, float], ...]:
        """
        The prices as (fewest packs, most packs or None, price of each pack), the fewest first.

        Breaks below the least order are left out, as nobody can order so few.
        """
        starts = sorted(dict(self.prices).items())
        found = []
        for place, (start, price) in enumerate(starts):
            most = starts[place + 1][0] - 1 if place + 1 < len(starts) else None
            fewest = max(start, self.least_packs)
            if most is None or fewest <= most:
                found.append((fewest, most, price))
        return tuple(found)

    def cost(self, count: int) -> Fraction | None:
        """Return what `count` packs cost, exactly; None if so few cannot be ordered."""
        if count == 0:
            return Fraction(0)
        for fewest, most, price in self.tiers:
            if fewest <= count and (most is None or count <= most):
                return count * money(price)
        return None


def money(amount: float) -> Fraction:
    """Return an amount of money exactly, to 0.0001, as the lists of suppliers give it."""
    return Fraction(round(amount * 10_000), 10_000)


def steps_of(quantity: float) -> int:
    """Return a quantity in whole steps; the part of a step counts as a whole one."""
    nearest = round(quantity * STEPS_PER_UNIT)
    return nearest if quantity * STEPS_PER_UNIT <= nearest + 1e-3 else nearest + 1
