"""
The cheapest purchases of one material as a shortest path over what is covered by then.

Needs are covered in the order of their days, so a plan is a row of orders each of which covers
needs up to some quantity. An order never needs to arrive before the first need that is not
covered yet, so the quantity covered tells the day of the next order, and what is left to pay
depends on nothing else.
"""

from __future__ import annotations

import heapq
import math
import time
from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

from shop.core.buying_plan import PROVEN_WITHIN, Arrival, Line, OrderTerms
from shop.core.packs import STEPS_PER_UNIT

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

TINY = 1e-9
CELLS = 24_000
"""Cells of the grid on which the cost of the rest is bounded; chosen here by trial."""


def applies(line: Line) -> bool:
    """
    Tell whether the path finds the cheapest plan of a line.

    Safety stock and a full store make more stock differ from less; then the mixed-integer program
    alone answers. Prices must not rise with the packs bought, and a later need must not have to
    arrive sooner.
    """
    by = [b for _, b, _ in line.uses]
    prices = [[price for _, _, price in pack.tiers] for pack in line.packs]
    return (
        bool(by)
        and not line.room
        and not line.kept[1]
        and by == sorted(by)
        and all(row == sorted(row, reverse=True) for row in prices)
    )


@dataclass(frozen=True)
class Found:
    """The best arrivals found, if any is cheaper than what was known, and a proven bound."""

    arrivals: tuple[Arrival, ...] | None
    bound: float


@dataclass(frozen=True)
class _Stage:
    """One order day: needs up to `least` are due, needs up to `cap` outlive its goods."""

    day: int
    least: int
    cap: int
    start: int
    """First cell from which the next order is on this day."""
    tables: tuple[Floats, ...]
    """What is left to pay with the first k packs of this order still to be chosen, by cell."""


@dataclass(frozen=True, order=True)
class _Open:
    """A partial plan: the last order is whole, or its first `packs` packs are still to choose."""

    least: float
    """What the whole plan costs at the least, with what all plans save alike."""
    count: int
    day: int = field(compare=False)
    packs: int = field(compare=False)
    covered: int = field(compare=False)
    worth: float = field(compare=False)
    """Goods of the order that is being put together."""
    paid: float = field(compare=False)
    path: tuple[tuple[int, int, int], ...] = field(compare=False)


class _Reached:
    """Quantities covered by whole orders, with the least that was paid for each."""

    def __init__(self) -> None:
        self._covered: list[int] = []
        self._paid: list[float] = []

    def first_to(self, covered: int, paid: float) -> bool:
        """Note what was reached; False where as much was covered for no more."""
        at = bisect_left(self._covered, covered)
        if at < len(self._covered) and self._paid[at] <= paid:
            return False
        start = at
        while start > 0 and self._paid[start - 1] >= paid:
            start -= 1
        end = at + (at < len(self._covered) and self._covered[at] == covered)
        self._covered[start:end], self._paid[start:end] = [covered], [paid]
        return True


class Path:
    """
    The path of one line; `cells` bounds the cost of the rest, `search` finds the cheapest plan.

    Quantities are whole steps. On the grid a quantity covered is rounded up (or down, to find a
    plan that is good for sure), so what is left to pay there is never more (never less) than true.
    """

    def __init__(self, line: Line, terms: OrderTerms, cells: int = CELLS) -> None:
        self.line, self.terms = line, terms
        self.total = sum(q for _, _, q in line.uses)
        grid = math.gcd(*(pack.steps for pack in line.packs))
        self.cell = max(grid, -(-self.total // cells))
        self.size = -(-self.total // self.cell)
        self.days = sorted({by for _, by, _ in line.uses})
        self.least = [sum(q for _, by, q in line.uses if by <= day) for day in self.days]
        self.caps = [sum(q for u, _, q in line.uses if line.alive(day, u) or u < day)
                     for day in self.days]  # fmt: skip
        self.order = terms.fixed + (terms.freight if terms.freight_free_from is None else 0.0)
        self.constant = (
            line.unit_day
            / STEPS_PER_UNIT
            * sum(q * (line.last_day - day) for day, _, q in line.uses)
        )

    @cached_property
    def stages(self) -> list[_Stage]:
        """What is left to pay at the least, day by day."""
        return self._tables(up=True)

    @property
    def bound(self) -> float:
        """Return a cost that no plan is below; infinite where none keeps all rules."""
        return float(self.stages[0].tables[-1][0]) + self.order - self.constant

    def _held(self, stage_day: int) -> float:
        """Return what holding one step from a day to the last need costs."""
        return self.line.unit_day * (self.line.last_day - stage_day) / STEPS_PER_UNIT

    def _cells(self, steps: int, *, up: bool) -> int:
        return -(-steps // self.cell) if up else steps // self.cell

    def _tables(self, *, up: bool) -> list[_Stage]:
        """Return the tables of every day, worked out from the last day to the first."""
        import numpy as np

        size = self.size
        after = np.zeros(size + 1)
        found: list[_Stage] = []
        starts = [0, *(-(-least // self.cell) for least in self.least[:-1])]
        for n in reversed(range(len(self.days))):
            start, day = starts[n], self.days[n]
            held, cap = self._held(day), min(size, self._cells(self.caps[n], up=True))
            if not up:
                cap = size if self.caps[n] >= self.total else self._cells(self.caps[n], up=False)
            first = after[start:].copy()
            first[max(0, cap - start) :] = after[cap]
            first[: max(0, -(-self.least[n] // self.cell) - start)] = np.inf
            if self.caps[n] < self.least[n] or cap * self.cell < self.least[n]:
                first[:] = np.inf
            tables = [first]
            for pack in self.line.packs:
                wide = self._cells(pack.steps, up=up)
                best = tables[-1]
                for fewest, _, price in pack.tiers if wide else ():
                    cost = price + held * pack.steps
                    shift = fewest * wide
                    moved = np.full(len(first), tables[-1][-1])
                    if shift < len(first):
                        moved[: len(first) - shift] = tables[-1][shift:]
                    best = np.minimum(best, _repeated(moved + fewest * cost, wide, cost))
                tables.append(best)
            end = -(-self.least[n] // self.cell)
            after[start:end] = tables[-1][: end - start] + self.order
            found.append(_Stage(day, self.least[n], self.caps[n], start, tuple(tables)))
        return found[::-1]

    def safe(self) -> tuple[Arrival, ...] | None:
        """Return the cheapest plan on the grid with all quantities rounded to the safe side."""
        stages = self._tables(up=False)
        covered, plan = 0, []
        while covered < self.size:
            stage = self._stage_of(stages, covered * self.cell)
            here, counts = covered, [0] * len(self.line.packs)
            if not math.isfinite(stage.tables[-1][covered - stage.start]):
                return None
            for k in reversed(range(len(self.line.packs))):
                counts[k] = self._count(stage, k, here)
                wide = self.line.packs[k].steps // self.cell
                here = min(self.size, here + counts[k] * wide)
            plan.append(Arrival(0, stage.day, tuple(counts)))
            top = self.size if stage.cap >= self.total else stage.cap // self.cell
            covered = min(here, top)
        return tuple(plan)

    def _count(self, stage: _Stage, k: int, here: int) -> int:
        """Return how many of a pack the cheapest order has from a cell on."""
        pack = self.line.packs[k]
        wide, held = pack.steps // self.cell, self._held(stage.day)
        table, best, chosen = stage.tables[k], float(stage.tables[k][here - stage.start]), 0
        if wide == 0:
            return 0
        most = max(-(-(self.size - here) // wide), *(t[0] for t in pack.tiers))
        for n in range(1, most + 1):
            price = pack.cost(n)
            if price is None:
                continue
            at = min(self.size, here + n * wide) - stage.start
            cost = float(price) + held * pack.steps * n + float(table[at])
            if cost < best - 1e-9:
                best, chosen = cost, n
        return chosen

    def _stage_of(self, stages: list[_Stage], covered: int) -> _Stage:
        return stages[bisect_right(self.least, covered)]

    def search(self, best: float, seconds: float) -> Found:
        """
        Return a plan cheaper than `best` if there is one, with a bound on all plans.

        Partial plans are taken up the most promising first; each is priced exactly, and the
        tables bound what it still has to pay. A partial plan is dropped if another covers as much
        for no more.
        """
        ends = time.perf_counter() + seconds
        limit = best + self.constant - PROVEN_WITHIN / 2
        first = self.bound + self.constant
        if not first < limit:
            return Found(None, min(first, limit) - self.constant)
        opened = [_Open(first, 0, 0, 0, 0, 0.0, 0.0, ())]
        count, reached = 0, _Reached()
        while opened and opened[0].least < limit:
            if time.perf_counter() > ends:
                return Found(None, opened[0].least - self.constant)
            now = heapq.heappop(opened)
            if now.packs == 0:
                if now.covered >= self.total:
                    arrivals = _arrivals(now.path, self.days, len(self.line.packs))
                    return Found(arrivals, now.least - self.constant)
                if not reached.first_to(now.covered, now.paid):
                    continue
                day = bisect_right(self.least, now.covered)
                now = replace(
                    now, day=day, packs=len(self.line.packs), worth=0.0, paid=now.paid + self.order
                )
            for child in self._children(now, limit):
                count += 1
                heapq.heappush(opened, replace(child, count=-count))
        return Found(None, limit - self.constant)

    def _rest(self, covered: int) -> float:
        """Return what at the least is left to pay once so much is covered."""
        if covered >= self.total:
            return 0.0
        stage = self._stage_of(self.stages, covered)
        cell = min(self.size, -(-covered // self.cell))
        return float(stage.tables[-1][cell - stage.start]) + self.order

    def _children(self, now: _Open, limit: float) -> Iterator[_Open]:
        """Yield each count of the next pack that can still be part of a plan below the limit."""
        import numpy as np

        stage, pack = self.stages[now.day], self.line.packs[now.packs - 1]
        steps, tiers, held = pack.steps, pack.tiers, self._held(stage.day)
        most = max(-(-max(0, self.total - now.covered) // steps), *(t[0] for t in tiers))
        for wanted in (self.terms.least_value, self.terms.freight_free_from or 0.0):
            if now.worth < wanted and tiers[-1][2] > 0:
                most = max(most, math.ceil((wanted - now.worth) / tiers[-1][2]))
        each = np.arange(most + 1)
        prices = np.full(most + 1, np.inf)
        prices[0] = 0.0
        for fewest, last, price in tiers:
            span = slice(fewest, None if last is None else last + 1)
            prices[span] = each[span] * price
        amounts = now.covered + each * steps
        cells = np.minimum(-(-amounts // self.cell), self.size) - stage.start
        paid = now.paid + prices + held * steps * each
        fits = paid + stage.tables[now.packs - 1][cells] < limit
        for n in np.nonzero(fits)[0]:
            child = replace(
                now,
                least=float(paid[n] + stage.tables[now.packs - 1][cells[n]]),
                packs=now.packs - 1,
                covered=int(amounts[n]),
                worth=float(now.worth + prices[n]),
                paid=float(paid[n]),
                path=(*now.path, (now.day, now.packs - 1, int(n))) if n else now.path,
            )
            if child.packs:
                yield child
            elif (ended := self._ended(child, stage)) is not None and ended.least < limit:
                yield ended

    def _ended(self, now: _Open, stage: _Stage) -> _Open | None:
        """Return an order that is whole, with what it covers and costs; None if it is refused."""
        terms, paid = self.terms, now.paid
        if now.covered < stage.least or now.worth < terms.least_value - TINY:
            return None
        if terms.freight_free_from is not None and now.worth < terms.freight_free_from - TINY:
            paid += terms.freight
        covered = min(now.covered, stage.cap)
        return replace(now, covered=covered, paid=paid, least=paid + self._rest(covered))


def _repeated(first: Floats, wide: int, cost: float) -> Floats:
    """Return the least of `first` at x, x + wide, x + 2 wide …, each step at a cost."""
    import numpy as np

    rows = -(-len(first) // wide) + 1
    padded = np.full(rows * wide, first[-1])
    padded[: len(first)] = first
    climb = cost * np.arange(rows)[:, None]
    table = padded.reshape(rows, wide) + climb
    table = np.minimum.accumulate(table[::-1], axis=0)[::-1] - climb
    return np.asarray(table.reshape(-1)[: len(first)])


def _arrivals(
    path: tuple[tuple[int, int, int], ...], days: list[int], packs: int
) -> tuple[Arrival, ...]:
    orders: dict[int, list[int]] = {}
    for day, pack, n in path:
        orders.setdefault(day, [0] * packs)[pack] += n
    return tuple(Arrival(0, days[day], tuple(own)) for day, own in sorted(orders.items()))
