"""
Packing: into how few pots do portions go, and how few can it be at all.

The same code bounds the pots of a week and packs the published bin packing instances.

References
----------
.. [1] P. C. Gilmore, R. E. Gomory, "A linear programming approach to the cutting-stock problem",
   Operations Research 9 (1961) 849-859: columns priced by a knapsack. From memory.
.. [2] A. A. Farley, "A note on bounding a class of linear programming problems", Operations
   Research 38 (1990) 922-923: duals over the best column value bound the optimum. From memory.
.. [3] S. Martello, P. Toth, *Knapsack Problems*, Wiley 1990, section 8.3: the bound L2. From
   memory.
"""

from __future__ import annotations

import math
import random
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.core.solver.arc_flow import by_arcs

TINY = 1e-7

Expired = Callable[[], bool]


@dataclass(frozen=True)
class Item:
    """A portion of `size` that can be poured at any time in ``[early, late]``."""

    size: int
    early: int = 0
    late: int = 0


@dataclass(frozen=True)
class Packing:
    """Bins as lists of item numbers, and the least number proven."""

    bins: tuple[tuple[int, ...], ...]
    bound: int

    @property
    def proven(self) -> bool:
        return len(self.bins) == self.bound


def decreasing(sizes: Sequence[int], capacity: int, best_fit: bool = True) -> list[list[int]]:
    """Pack largest first, into the fullest (or first) bin with room."""
    bins: list[list[int]] = []
    room: list[int] = []
    for i in sorted(range(len(sizes)), key=lambda i: (-sizes[i], i)):
        able = [b for b, r in enumerate(room) if r >= sizes[i]]
        if able:
            b = min(able, key=lambda b: (room[b], b)) if best_fit else able[0]
        else:
            b = len(bins)
            bins.append([])
            room.append(capacity)
        bins[b].append(i)
        room[b] -= sizes[i]
    return bins


def bound_l2(sizes: Sequence[int], capacity: int) -> int:
    """Return the bound L2 of Martello and Toth [3]_."""
    best = math.ceil(sum(sizes) / capacity - 1e-9)
    for k in sorted({s for s in sizes if 2 * s <= capacity} | {0}):
        large = [s for s in sizes if s > capacity - k]
        middle = [s for s in sizes if capacity - k >= s > capacity / 2]
        small = [s for s in sizes if capacity / 2 >= s >= k]
        room = len(middle) * capacity - sum(middle)
        more = max(0, math.ceil((sum(small) - room) / capacity - 1e-9))
        best = max(best, len(large) + len(middle) + more)
    return best


class Columns:
    """Column generation for covering items by bins, with time windows."""

    def __init__(self, items: Sequence[Item], capacity: int) -> None:
        self.capacity = capacity
        kinds = Counter(items)
        self.kinds = sorted(kinds, key=lambda k: (-k.size, k.early, k.late))
        self.demand = np.array([kinds[k] for k in self.kinds], dtype=float)
        self.moments = self._moments()
        self.columns: list[tuple[int, ...]] = []
        self.levels: list[float] = []
        """How much of each column the last solution used."""
        self.bound = 0.0

    def _moments(self) -> list[list[int]]:
        """Return the largest sets of kinds that can be poured at one moment."""
        sets = []
        for moment in sorted({k.early for k in self.kinds}):
            able = [i for i, k in enumerate(self.kinds) if k.early <= moment <= k.late]
            sets.append(able)
        sets.sort(key=len, reverse=True)
        kept: list[list[int]] = []
        for able in sets:
            if able and not any(set(able) <= set(other) for other in kept):
                kept.append(able)
        return kept

    def start(self) -> None:
        """Begin with a packing, largest first, moment by moment."""
        left = [int(d) for d in self.demand]
        for able in self.moments:
            while any(left[i] for i in able):
                counts = [0] * len(self.kinds)
                room = self.capacity
                for i in able:
                    while left[i] and self.kinds[i].size <= room:
                        left[i] -= 1
                        counts[i] += 1
                        room -= self.kinds[i].size
                self.columns.append(tuple(counts))

    def fitted(self, patterns: list[list[int]]) -> list[tuple[int, ...]]:
        """Return patterns of sizes as columns, without what is not asked for here."""
        number = {k.size: i for i, k in enumerate(self.kinds)}
        found: dict[tuple[int, ...], None] = {}
        for pattern in patterns:
            counts = [0] * len(self.kinds)
            for size in pattern:
                i = number.get(size)
                if i is not None and counts[i] < self.demand[i]:
                    counts[i] += 1
            if any(counts):
                found[tuple(counts)] = None
        return list(found)

    def price(
        self, duals: NDArray[np.float64], expired: Expired
    ) -> list[tuple[float, tuple[int, ...]]] | None:
        """Return the most valuable column of each moment; None where the time is over before."""
        found = []
        for able in self.moments:
            if expired():
                return None
            found.append(self._knapsack(able, duals))
        return found

    def _knapsack(
        self, able: list[int], duals: NDArray[np.float64]
    ) -> tuple[float, tuple[int, ...]]:
        value = np.zeros(self.capacity + 1)
        choices: list[tuple[int, NDArray[np.bool_]]] = []
        for i in able:
            if duals[i] <= TINY:
                continue
            size = self.kinds[i].size
            for _ in range(min(int(self.demand[i]), self.capacity // size)):
                better = value.copy()
                better[size:] = np.maximum(value[size:], value[:-size] + duals[i])
                taken = better > value + 1e-12
                if not taken.any():
                    break
                choices.append((i, taken))
                value = better
        counts = [0] * len(self.kinds)
        at = self.capacity
        for i, taken in reversed(choices):
            if taken[at]:
                counts[i] += 1
                at -= self.kinds[i].size
        return float(value[-1]), tuple(counts)

    def solve(
        self,
        most_rounds: int = 400,
        enough: int | None = None,
        expired: Expired = lambda: False,
    ) -> float:
        """
        Raise `bound` until no column helps, or it rounds up to `enough`.

        Returns
        -------
        float
            A proven bound [2]_; round it up.
        """
        from scipy.optimize import linprog

        if not self.kinds:
            return 0.0
        if not self.columns:
            self.start()
        known = set(self.columns)
        for _ in range(most_rounds):
            if expired():
                break
            matrix = np.array(self.columns, dtype=float).T
            found = linprog(
                np.ones(len(self.columns)), A_ub=-matrix, b_ub=-self.demand, method="highs"
            )
            self.levels = [float(x) for x in found.x]
            duals = -found.ineqlin.marginals
            priced = self.price(duals, expired)
            if priced is None:
                break
            best = max(v for v, _ in priced)
            self.bound = max(self.bound, float(duals @ self.demand) / max(1.0, best))
            if best <= 1 + TINY or (enough is not None and rounded(self.bound) >= enough):
                break
            fresh = [c for v, c in priced if v > 1 + TINY and c not in known]
            if not fresh:
                break
            known.update(fresh)
            self.columns += list(dict.fromkeys(fresh))
        return self.bound


def rounded(bound: float) -> int:
    """Return the least whole number of bins at or above a bound, given away no more than 1e-6."""
    return math.ceil(bound - 1e-6)


def least_bins(items: Sequence[Item], capacity: int, expired: Expired = lambda: False) -> int:
    """Return a proven bound on the bins for items with time windows; weaker where it is cut."""
    by_mass = math.ceil(sum(i.size for i in items) / capacity - 1e-9)
    return max(by_mass, rounded(Columns(items, capacity).solve(expired=expired)))


def pack(sizes: Sequence[int], capacity: int, seconds: float = 60.0) -> Packing:
    """
    Pack into the fewest bins.

    Parameters
    ----------
    sizes : sequence of int
    capacity : int
    seconds : float
        Most time for what follows a first packing, s; the first is quick. One column or one
        program of whole numbers that has begun may run a little over.

    Returns
    -------
    Packing
        The best found; `proven` where it is the fewest.

    Raises
    ------
    ValueError
        If an item is larger than a bin.
    """
    if sizes and max(sizes) > capacity:
        raise ValueError(f"an item of {max(sizes)} is larger than a bin of {capacity}")
    best = min((decreasing(sizes, capacity, b) for b in (True, False)), key=len)
    bound = bound_l2(sizes, capacity)
    if len(best) > bound:
        columns = Columns([Item(s) for s in sizes], capacity)
        until = time.monotonic() + seconds
        solved = columns.solve(enough=len(best), expired=lambda: time.monotonic() >= until)
        bound = max(bound, rounded(solved))
        for method in (_by_diving, _by_arcs):
            if len(best) <= bound or time.monotonic() >= until:
                break
            found, proven = method(sizes, capacity, columns, bound, until)
            if proven:
                bound = max(bound, proven)
            if found is not None and len(found) < len(best):
                best = found
    return Packing(tuple(tuple(b) for b in best), bound)


Found = tuple[list[list[int]] | None, int]


def _by_diving(
    sizes: Sequence[int], capacity: int, columns: Columns, bound: int, until: float
) -> Found:
    """Fix the columns nearest to whole, solve again for what is left; several tries."""
    best: list[list[int]] | None = None
    for attempt in range(6):
        rng = random.Random(attempt)
        blur = 0.0 if attempt == 0 else 0.15
        bins = _dive(sizes, capacity, columns, rng, blur, lambda: time.monotonic() >= until)
        if bins is None:
            break
        if best is None or len(bins) < len(best):
            best = bins
        if len(best) <= bound:
            break
    return best, 0


def _dive(
    sizes: Sequence[int],
    capacity: int,
    columns: Columns,
    rng: random.Random,
    blur: float,
    expired: Expired,
) -> list[list[int]] | None:
    """Return one packing by diving, None where the time is over before it is whole."""
    left = Counter(sizes)
    bins: list[list[int]] = []
    patterns = [_sizes_of(columns, c) for c in columns.columns]
    while left:
        rest = Columns([Item(s) for s in left.elements()], capacity)
        rest.columns = rest.fitted(patterns)
        rest.start()
        rest.solve(most_rounds=60, expired=expired)
        if expired():
            return None
        patterns += [_sizes_of(rest, c) for c in rest.columns]
        whole = [(c, int(x + 1e-6)) for c, x in zip(rest.columns, rest.levels, strict=False)]
        if not any(n for _, n in whole):
            near = max(range(len(rest.levels)), key=lambda i: rest.levels[i] + blur * rng.random())
            whole = [(rest.columns[near], 1)]
        for column, count in whole:
            for _ in range(count):
                content = [s for s in _sizes_of(rest, column) if left[s]]
                content = list((Counter(content) & left).elements())
                if content:
                    left -= Counter(content)
                    bins.append(content)
    return _deal(sizes, bins)


def _sizes_of(columns: Columns, pattern: tuple[int, ...]) -> list[int]:
    return [k.size for k, n in zip(columns.kinds, pattern, strict=True) for _ in range(n)]


def _by_arcs(
    sizes: Sequence[int], capacity: int, columns: Columns, bound: int, until: float
) -> Found:
    """Solve the arc-flow model exactly."""
    bins, proven = by_arcs(sizes, capacity, bound, max(0.1, until - time.monotonic()))
    return (None, 0) if bins is None else (_deal(sizes, bins), rounded(proven) if proven else 0)


def _deal(sizes: Sequence[int], bins: list[list[int]]) -> list[list[int]]:
    """Give item numbers to bins of sizes that may hold more of a size than there is."""
    left: dict[int, list[int]] = {}
    for i in range(len(sizes) - 1, -1, -1):
        left.setdefault(sizes[i], []).append(i)
    dealt = []
    for content in bins:
        own = [left[s].pop() for s in content if left.get(s)]
        if own:
            dealt.append(own)
    return dealt
