"""What quantities a supplier's packs make up, and the least money each costs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

MOST_STEPS = 3000
"""Largest table; beyond it the largest pack alone is the step, small ones hardly matter there."""
_STEPS_PER_UNIT = 10_000
"""Packs are told apart to 0.0001 of a unit, the ledger's own step."""


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
        if not self.content > 0:
            raise ValueError(f"pack {self.name} holds {self.content}; it must be above 0")
        if not self.prices or any(price < 0 or start < 1 for start, price in self.prices):
            raise ValueError(f"pack {self.name} needs prices of 0 or more, from 1 pack or more")
        if self.least_packs < 1:
            raise ValueError(f"pack {self.name}: least_packs is {self.least_packs}; 1 or more")

    def cost(self, count: int) -> float:
        """Return what `count` packs cost; infinite below the least order."""
        if count == 0:
            return 0.0
        if count < self.least_packs:
            return math.inf
        reached = [price for start, price in sorted(self.prices) if start <= count]
        return count * reached[-1] if reached else math.inf


@dataclass(frozen=True)
class PriceTable:
    """
    Least cost of every quantity on a grid.

    ``cost[k]`` is the least money for exactly ``k * step`` units, infinite where no packs make
    it; ``counts[k]`` says how many of each pack, in the order of `packs`.
    """

    packs: tuple[Pack, ...]
    step: float
    cost: NDArray[np.float64]
    counts: NDArray[np.int64]

    def packs_for(self, k: int) -> tuple[tuple[str, int], ...]:
        """Name the packs of quantity ``k * step``."""
        pairs = zip(self.packs, self.counts[k], strict=True)
        return tuple((pack.name, int(n)) for pack, n in pairs if n)

    def least_step(self, quantity: float) -> int:
        """Return the smallest orderable k that reaches a quantity; -1 if none does."""
        start = math.ceil(quantity / self.step - 1e-7)
        for k in range(start, len(self.cost)):
            if math.isfinite(self.cost[k]) and k > 0:
                return k
        return -1


def price_table(packs: Sequence[Pack], most: float) -> PriceTable:
    """
    Tabulate the cheapest packs for every quantity up to `most` and one largest pack more.

    Parameters
    ----------
    packs : sequence of Pack
        All packs of one material from one supplier.
    most : float
        Largest quantity asked for, in the material's unit.

    Returns
    -------
    PriceTable
        Exact on the grid of the packs' greatest common divisor; of equal costs the fewest packs.

    Raises
    ------
    ValueError
        If there are no packs.
    """
    import numpy as np

    if not packs:
        raise ValueError("the supplier offers no pack of this material")
    units = [round(pack.content * _STEPS_PER_UNIT) for pack in packs]
    step = math.gcd(*units)
    reach = most * _STEPS_PER_UNIT + max(
        u * max(p.least_packs, *(start for start, _ in p.prices))
        for u, p in zip(units, packs, strict=True)
    )
    if reach / step > MOST_STEPS:
        largest = max(range(len(packs)), key=lambda i: units[i])
        packs, units = [packs[largest]], [units[largest]]
        step = units[0]
    size = int(reach // step) + 1
    cost = np.full(size, np.inf)
    cost[0] = 0.0
    counts = np.zeros((size, len(packs)), dtype=np.int64)
    for place, pack in enumerate(packs):
        cost, counts = _with_pack(cost, counts, place, pack, units[place] // step)
    return PriceTable(tuple(packs), step / _STEPS_PER_UNIT, cost, counts)


def _with_pack(
    cost: NDArray[np.float64], counts: NDArray[np.int64], place: int, pack: Pack, width: int
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    best, chosen = cost.copy(), counts.copy()
    number = counts.sum(axis=1)
    for n in range(pack.least_packs, (len(cost) - 1) // width + 1):
        extra = pack.cost(n)
        if not math.isfinite(extra):
            continue
        shift = n * width
        tried = cost[: len(cost) - shift] + extra
        now = best[shift:]
        fewer = number[: len(cost) - shift] + n < chosen[shift:].sum(axis=1)
        better = (tried < now - 1e-9) | ((tried <= now + 1e-9) & fewer)
        best[shift:][better] = tried[better]
        rows = counts[: len(cost) - shift][better].copy()
        rows[:, place] += n
        chosen[shift:][better] = rows
    return best, chosen
