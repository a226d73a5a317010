"""The purchases of some lines as a program that is solved whole or in part, and read exactly."""

from __future__ import annotations

from collections.abc import Container, Sequence
from typing import TYPE_CHECKING

from shop.core.buying_columns import Count
from shop.core.buying_plan import Arrival, BuyingPlan, Line, NoPlan, OrderTerms, price_plan
from shop.core.buying_rows import build

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


class Program:
    """The program of some lines, to be solved as a whole or with the arrivals of days fixed."""

    def __init__(self, lines: Sequence[Line], terms: OrderTerms) -> None:
        self.lines, self.terms = tuple(lines), terms
        self.days = sorted({d.by for line in lines for d in line.demands})
        self._columns, self._counts, self._constant = build(lines, terms)
        self.weight = 2 * len(self._counts)

    def solve(
        self, seconds: float, kept: Sequence[Arrival] = (), free: Container[int] | None = None
    ) -> tuple[tuple[Arrival, ...] | None, float]:
        """
        Return the best arrivals found, if any, and a bound on the cost of all others.

        With `free`, only what arrives on those days may differ from `kept`, and the bound is that
        of the part.
        """
        fixed = None if free is None else self._fixed(kept, free)
        found = self._columns.solve(seconds, fixed)
        if found.status == 2:
            raise NoPlan("no purchase keeps all rules")
        bound = 0.0 if found.mip_dual_bound is None else found.mip_dual_bound + self._constant
        if found.x is None:
            return None, max(0.0, bound)
        return _arrivals(self.lines, self._counts, found.x), max(0.0, bound)

    def priced(self, arrivals: tuple[Arrival, ...], bound: float) -> BuyingPlan:
        """Check arrivals exactly and return them as a plan."""
        return checked_plan(self.lines, self.terms, arrivals, bound)

    def _fixed(self, kept: Sequence[Arrival], free: Container[int]) -> dict[int, float]:
        held = {(a.line, a.day, k): n for a in kept for k, n in enumerate(a.counts)}
        fixed = {}
        for one in self._counts:
            if one.day not in free:
                n = held.get((one.line, one.day, one.pack), 0)
                mine = one.fewest <= n and (one.most is None or n <= one.most)
                value = {"all": n, "first": 1, "beyond": n - one.fewest}[one.part]
                fixed[one.column] = float(value if mine else 0)
        return fixed


def _arrivals(
    lines: Sequence[Line], counts: Sequence[Count], x: NDArray[np.float64]
) -> tuple[Arrival, ...]:
    sums: dict[tuple[int, int], list[int]] = {}
    for one in counts:
        n = round(float(x[one.column]))
        if n:
            own = sums.setdefault((one.day, one.line), [0] * len(lines[one.line].packs))
            own[one.pack] += n * one.each
    return tuple(Arrival(line, day, tuple(own)) for (day, line), own in sorted(sums.items()))


def checked_plan(
    lines: tuple[Line, ...], terms: OrderTerms, arrivals: tuple[Arrival, ...], bound: float
) -> BuyingPlan:
    """Check arrivals exactly and return them as a plan."""
    exact, expired = price_plan(lines, terms, arrivals)
    cost = float(exact)
    return BuyingPlan(lines, terms, arrivals, cost, min(cost, bound), expired)
