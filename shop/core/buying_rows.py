"""The rules of buying as columns and rows: packs, breaks, needs, room, order values."""

from __future__ import annotations

import math
from collections.abc import Sequence

from shop.core.buying_columns import Columns, Count
from shop.core.buying_plan import Line, OrderTerms
from shop.core.packs import STEPS_PER_UNIT

_CELLS = 2000
"""Cells of the grid on which the least money for a quantity is bounded; chosen here."""


def build(lines: Sequence[Line], terms: OrderTerms) -> tuple[Columns, list[Count], float]:
    """Return the program of some lines, its counts of packs, and the cost that no choice moves."""
    program = Columns()
    days = sorted({d.by for line in lines for d in line.demands})
    ordered = {day: program.column(terms.fixed + terms.freight, 1) for day in days}
    counts: list[Count] = []
    constant = 0.0
    for place, line in enumerate(lines):
        if line.demands:
            counts += _columns(program, place, line, terms, ordered)
            _needs(program, line, [c for c in counts if c.line == place])
            _shares(program, line, [c for c in counts if c.line == place], ordered)
            _least_money(program, line, [c for c in counts if c.line == place])
            spans = sum(q * (line.last_day - day) for day, _, q in line.uses)
            constant -= line.unit_day * spans / STEPS_PER_UNIT
    for day, order in ordered.items():
        goods = {c.column: c.price * c.each for c in counts if c.day == day}
        if terms.least_value > 0:
            program.row({**goods, order: -terms.least_value}, 0.0)
        if terms.freight > 0 and terms.freight_free_from is not None:
            free = program.column(-terms.freight, 1)
            program.row({free: -1, order: 1}, 0.0)
            program.row({**goods, free: -terms.freight_free_from}, 0.0)
    return program, counts, constant


def _columns(
    program: Columns, place: int, line: Line, terms: OrderTerms, ordered: dict[int, int]
) -> list[Count]:
    """Add the counts of one line's packs on each day it may arrive."""
    found = []
    last_by = max(d.by for d in line.demands)
    for day, order in ordered.items():
        useful = _useful(line, day)
        if day > last_by or useful <= 0:
            continue
        for number, pack in enumerate(line.packs):
            held = line.unit_day * pack.content * (line.last_day - day)
            tiers = pack.tiers
            chosen = {}
            for fewest, most, price in tiers:
                upper = _upper(pack.steps, useful, fewest, most, price, terms)
                kind = (place, number, day)
                if len(tiers) == 1 and fewest == 1:
                    column = program.column(price + held, upper)
                    found.append(Count(*kind, column, price, 1, fewest, most, "all"))
                    program.row({column: -1.0, order: upper}, 0.0)
                    continue
                switch = program.column(fewest * (price + held), 1)
                found.append(Count(*kind, switch, price, fewest, fewest, most, "first"))
                chosen[switch] = 1.0
                if upper > fewest:
                    column = program.column(price + held, upper - fewest)
                    found.append(Count(*kind, column, price, 1, fewest, most, "beyond"))
                    program.row({column: -1.0, switch: upper - fewest}, 0.0)
            if chosen:
                program.row({order: 1.0, **dict.fromkeys(chosen, -1.0)}, 0.0)
    return found


def _useful(line: Line, day: int) -> int:
    """Return the steps that arrive on a day and can still be of use."""
    used = sum(q for u, by, q in line.uses if by >= day and line.alive(day, u))
    later = sum(q for u, by, q in line.uses if by < day <= u and line.alive(day, u))
    return used + later + line.kept[1]


def _upper(
    steps: int, useful: int, fewest: int, most: int | None, price: float, terms: OrderTerms
) -> float:
    """Return the most packs worth buying: one less would do for every need, price and value."""
    wanted = max(fewest, math.ceil(useful / steps))
    for value in (terms.least_value, terms.freight_free_from or 0.0):
        if value > 0 and price > 0:
            wanted = max(wanted, math.ceil(value / price))
    return float(wanted if most is None else min(wanted, most))


def _needs(program: Columns, line: Line, counts: Sequence[Count]) -> None:
    """Add one row for every run of needs that binds, and for the room in the store."""
    grid = math.gcd(*(p.steps for p in line.packs))
    days = sorted({c.day for c in counts})

    def arriving(first: float, last: int, most: float = math.inf) -> dict[int, float]:
        """Return what each column brings in a span of days; more than `most` is as good as it."""
        return {
            c.column: min(most, c.each * line.packs[c.pack].steps / grid)
            for c in counts
            if first <= c.day <= last
        }

    def window(day: int) -> float:
        return -math.inf if line.shelf_days is None else day - line.shelf_days

    uses, (kept_from, kept) = line.uses, line.kept
    ends = [(by, day, 0) for day, by, _ in uses]
    if kept:
        ends += [(day, day, kept) for day, _, _ in uses if day >= kept_from]
        ends.append((kept_from, kept_from, kept))
    for latest, until, extra in ends:
        run = [use for use in uses if use[0] <= until]
        total, seen = sum(q for _, _, q in run) + extra, set()
        for day, by, quantity in [*run, (until, until, 0)]:
            if not extra and day != run[0][0] and by < window(until):
                total -= quantity
                continue
            first = next((d for d in days if d >= window(day)), None)
            if total > 0 and first not in seen:
                seen.add(first)
                least = math.ceil(total / grid)
                program.row(arriving(window(day), latest, least), least)
            total -= quantity
    for day, most in line.room:
        used = sum(q for at, _, q in uses if at < day)
        limit = max(0, math.floor(most * STEPS_PER_UNIT + 1e-3)) + used
        if any(d <= day for d in days):
            program.row(arriving(-math.inf, day), 0.0, math.floor(limit / grid))


def _shares(
    program: Columns, line: Line, counts: Sequence[Count], ordered: dict[int, int]
) -> None:
    """
    Split every need over the arrivals that can serve it; no plan changes, only the bound rises.

    A share is at most the order it comes from, which says far more of a fractional order than
    the most packs worth buying does.
    """
    grid = math.gcd(*(p.steps for p in line.packs))
    days = sorted({c.day for c in counts})
    served: dict[int, dict[int, float]] = {day: {} for day in days}
    for day, by, quantity in line.uses:
        shares = {}
        for t in days:
            if t <= by and line.alive(t, day):
                share = program.column(0.0, 1, whole=False)
                program.row({ordered[t]: 1.0, share: -1.0}, 0.0)
                served[t][share] = -quantity / grid
                shares[share] = 1.0
        program.row(shares, 1.0)
    for t in days:
        if served[t]:
            most = -math.fsum(served[t].values())
            bought = {
                c.column: min(most, c.each * line.packs[c.pack].steps / grid)
                for c in counts
                if c.day == t
            }
            program.row({**bought, **served[t]}, 0.0)


def _least_money(program: Columns, line: Line, counts: Sequence[Count]) -> None:
    """
    Add rows that say what the goods for the needs up to each day cost at least.

    Whole packs at their lowest price, worked out beforehand on a grid on which packs count for a
    little more than they hold; the program alone would count parts of packs in its bounds.
    """
    wanted = sum(q for _, _, q in line.uses) + line.kept[1]
    cell = max(math.gcd(*(p.steps for p in line.packs)), math.ceil(wanted / _CELLS))
    packs = [(-(-p.steps // cell), min(t[2] for t in p.tiers)) for p in line.packs]
    money = [0.0]
    for cells in range(1, wanted // cell + 1):
        money.append(min(price + money[max(0, cells - brings)] for brings, price in packs))
    total = 0
    by_day = sorted((by, q) for _, by, q in line.uses)
    for place, (by, quantity) in enumerate(by_day):
        total += quantity
        if place + 1 < len(by_day) and by_day[place + 1][0] == by:
            continue
        kept = line.kept[1] if line.kept[1] and line.kept[0] <= by else 0
        least = money[(total + kept) // cell] * (1 - 1e-9)
        program.row({c.column: c.price * c.each for c in counts if c.day <= by}, least)
