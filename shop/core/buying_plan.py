"""What is to be bought: needs by their days, packs, and the terms of one supplier's orders."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

from shop.core.packs import STEPS_PER_UNIT, Pack, money, steps_of

PROVEN_WITHIN = 0.01
"""Money by which the cost of a plan may exceed the proven bound and still count as proven."""


@dataclass(frozen=True)
class Demand:
    """
    A quantity needed on `day`, to have arrived by `by`; both count days from today.

    `kept` marks safety stock: it must be there, in date, on every later day of need, and no pour
    uses it up.
    """

    day: int
    by: int
    quantity: float
    kept: bool = False


@dataclass(frozen=True)
class Line:
    """
    One material: its needs, its packs, and how it keeps.

    `unit_day` is money for one unit held for one day, from its arrival to the last need;
    `shelf_days` the days after arrival on which it may still be used, None if it never expires.
    `room` are pairs (day, largest quantity of what is bought that the store has room for on that
    day), for the days on which goods can arrive; no pair, no limit.
    """

    demands: tuple[Demand, ...]
    packs: tuple[Pack, ...]
    unit_day: float
    shelf_days: int | None = None
    room: tuple[tuple[int, float], ...] = ()
    name: str = ""

    @cached_property
    def uses(self) -> tuple[tuple[int, int, int], ...]:
        """What pours use, as (day, by, steps), by day; the needs of one day are one."""
        sums: dict[tuple[int, int], int] = {}
        for d in self.demands:
            if not d.kept and d.quantity > 0:
                sums[d.day, d.by] = sums.get((d.day, d.by), 0) + steps_of(d.quantity)
        return tuple((day, by, q) for (day, by), q in sorted(sums.items()))

    @cached_property
    def kept(self) -> tuple[int, int]:
        """Safety stock as (first day it must be there, steps)."""
        kept = [d for d in self.demands if d.kept and d.quantity > 0]
        return (
            min((d.by for d in kept), default=0),
            sum(steps_of(d.quantity) for d in kept),
        )

    @cached_property
    def last_day(self) -> int:
        """The day of the last need."""
        return max(d.day for d in self.demands)

    def alive(self, arrived: int, day: int) -> bool:
        """Tell whether what arrived on a day may be used on another."""
        return arrived <= day and (self.shelf_days is None or day <= arrived + self.shelf_days)


@dataclass(frozen=True)
class OrderTerms:
    """
    What holds for each order of the supplier, whatever is in it, in its currency.

    `fixed` is what an order costs the shop, `freight` what the supplier charges for carriage,
    unless the goods are worth `freight_free_from`; `least_value` is the least worth of goods.
    """

    fixed: float = 0.0
    freight: float = 0.0
    freight_free_from: float | None = None
    least_value: float = 0.0

    def cost(self, goods: Fraction) -> Fraction:
        """Return what an order costs beside its goods."""
        free = self.freight_free_from is not None and goods >= money(self.freight_free_from)
        return money(self.fixed) + (Fraction(0) if free else money(self.freight))


@dataclass(frozen=True)
class Arrival:
    """What arrives of one line on one day: the count of each of its packs."""

    line: int
    day: int
    counts: tuple[int, ...]


@dataclass(frozen=True)
class BuyingPlan:
    """
    Arrivals of one supplier with their whole cost, and how sure the cost is.

    No plan that keeps the rules costs less than `bound`.
    """

    lines: tuple[Line, ...]
    terms: OrderTerms
    arrivals: tuple[Arrival, ...]
    cost: float
    bound: float
    expired: tuple[float, ...] = field(default=())
    """For each line, what expires before its last need, in its unit."""

    @property
    def proven(self) -> bool:
        """Whether no cheaper plan exists, to `PROVEN_WITHIN`."""
        return self.cost - self.bound <= PROVEN_WITHIN

    @property
    def gap(self) -> float:
        """By what share of its cost the plan may be dearer than the cheapest one."""
        return 0.0 if self.proven else (self.cost - self.bound) / self.cost

    def quantity(self, arrival: Arrival) -> float:
        """Return what arrives, in the material's unit."""
        packs = self.lines[arrival.line].packs
        steps = sum(n * p.steps for n, p in zip(arrival.counts, packs, strict=True))
        return steps / STEPS_PER_UNIT

    def goods_cost(self, arrival: Arrival) -> float:
        """Return what the goods of an arrival cost."""
        return float(goods_cost(self.lines[arrival.line], arrival.counts))


class NoPlan(ValueError):
    """No plan keeps the rules; the words say which rule stands in the way."""


class NoPlanInTime(NoPlan):
    """The time ran out before any plan was found; there may be one."""


def goods_cost(line: Line, counts: Sequence[int]) -> Fraction:
    """Return what packs cost; refuse fewer than the supplier sells."""
    total = Fraction(0)
    for n, pack in zip(counts, line.packs, strict=True):
        cost = pack.cost(n)
        if cost is None:
            raise NoPlan(f"{n} × {pack.name} is below the least order of {pack.least_packs}")
        total += cost
    return total


def price_plan(
    lines: Sequence[Line], terms: OrderTerms, arrivals: Sequence[Arrival]
) -> tuple[Fraction, tuple[float, ...]]:
    """
    Return the exact cost of a plan, and what expires of each line before its last need.

    Parameters
    ----------
    lines, terms : sequence of Line, OrderTerms
        As in `buying_program.best_plan`.
    arrivals : sequence of Arrival
        What arrives when; the order does not matter.

    Raises
    ------
    NoPlan
        If a need is not met by goods in date, safety stock is missing on a day of need, the store
        has no room, or an order is below what the supplier takes.

    Notes
    -----
    Whole steps and exact fractions throughout; stock is used first in, first out. Holding costs
    run from arrival to the last need, or to the use if that is sooner; what expires is charged to
    the last need too, as its money is not free before.
    """
    orders: dict[int, Fraction] = {}
    total, expired = Fraction(0), []
    for place, line in enumerate(lines):
        own = sorted((a for a in arrivals if a.line == place), key=lambda a: a.day)
        for a in own:
            cost = goods_cost(line, a.counts)
            orders[a.day] = orders.get(a.day, Fraction(0)) + cost
            total += cost
        held, lost = _walk(line, own)
        total += held
        expired.append(lost / STEPS_PER_UNIT)
    for day, goods in orders.items():
        if goods < money(terms.least_value):
            raise NoPlan(f"the order of day {day} is worth {float(goods):.2f} of {terms}")
        total += terms.cost(goods)
    return total, tuple(expired)


def _walk(line: Line, arrivals: Sequence[Arrival]) -> tuple[Fraction, int]:
    """Use the stock first in, first out; return the cost of holding and the steps that expire."""
    came = [
        (a.day, sum(n * p.steps for n, p in zip(a.counts, line.packs, strict=True)))
        for a in arrivals
    ]
    left = [[day, steps] for day, steps in came]
    kept_from, kept = line.kept
    unit_steps = Fraction(0)
    for day, by, steps in line.uses:
        want = steps
        for layer in left:
            if layer[0] <= by and line.alive(layer[0], day):
                part = min(want, layer[1])
                layer[1] -= part
                want -= part
        if want:
            raise NoPlan(f"day {day} is short by {want / STEPS_PER_UNIT:g}")
        unit_steps -= steps * (line.last_day - day)
        if kept and day >= kept_from:
            _keep(line, left, day, kept)
    if kept:
        _keep(line, left if not line.uses else _left_at(line, came, kept_from), kept_from, kept)
    for day, steps in came:
        unit_steps += steps * (line.last_day - day)
    for day, most in line.room:
        used = sum(q for at, _, q in line.uses if at < day)
        there = sum(q for at, q in came if at <= day) - used
        if there > max(0, math.floor(most * STEPS_PER_UNIT + 1e-3)):
            raise NoPlan(f"the store has room for {most:g} on day {day}")
    lost = sum(q for day, q in left if not line.alive(day, line.last_day))
    return Fraction(line.unit_day) * unit_steps / STEPS_PER_UNIT, lost


def _left_at(line: Line, came: Sequence[tuple[int, int]], day: int) -> list[list[int]]:
    """Return what is left of each arrival after the uses up to a day."""
    left = [[at, steps] for at, steps in came]
    for used_on, by, steps in line.uses:
        want = steps if used_on <= day else 0
        for layer in left:
            if layer[0] <= by and line.alive(layer[0], used_on):
                part = min(want, layer[1])
                layer[1] -= part
                want -= part
    return left


def _keep(line: Line, left: Sequence[Sequence[int]], day: int, kept: int) -> None:
    there = sum(q for at, q in left if line.alive(at, day))
    if there < kept:
        short = (kept - there) / STEPS_PER_UNIT
        raise NoPlan(f"safety stock is short by {short:g} on day {day}")
