"""The cheapest purchases as a mixed-integer program, solved by HiGHS, with its proven bound."""

from __future__ import annotations

import math
import time
from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

from shop.core.buying_path import Path, applies
from shop.core.buying_plan import (
    PROVEN_WITHIN,
    Arrival,
    BuyingPlan,
    Line,
    NoPlan,
    NoPlanInTime,
    OrderTerms,
    price_plan,
)
from shop.core.buying_start import quick_plan
from shop.core.packs import STEPS_PER_UNIT

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

SECONDS = 1.8
"""Time for one supplier's orders, unless the caller gives another."""


PATH_SHARE = 0.5
"""Share of the time for the shortest path of one material; chosen here by trial."""
MOST_AT_ONCE = 600
"""Whole columns up to which a program is solved in one piece; chosen here by trial."""


@dataclass
class _Columns:
    """Columns and rows of the program while they are gathered."""

    cost: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    rows: list[dict[int, float]] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def column(self, cost: float, upper: float, *, whole: bool = True) -> int:
        self.cost.append(cost)
        self.upper.append(upper)
        self.whole.append(whole)
        return len(self.cost) - 1

    def row(self, terms: dict[int, float], low: float, high: float = math.inf) -> None:
        self.rows.append(terms)
        self.low.append(low)
        self.high.append(high)

    def solve(self, seconds: float, fixed: Mapping[int, float] | None = None) -> Any:
        """Solve it, with some columns fixed; `status` and `mip_dual_bound` are scipy's."""
        import numpy as np
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array

        starts = np.cumsum([0, *(len(row) for row in self.rows)])
        places = np.array([k for row in self.rows for k in row], dtype=np.int64)
        values = np.array([v for row in self.rows for v in row.values()], dtype=float)
        shape = (len(self.rows), len(self.cost))
        low, high = np.zeros(shape[1]), np.array(self.upper)
        for column, value in (fixed or {}).items():
            low[column] = high[column] = value
        return milp(
            np.array(self.cost),
            integrality=np.array(self.whole, dtype=int),
            bounds=Bounds(low, high),
            constraints=LinearConstraint(
                csr_array((values, places, starts), shape=shape), self.low, self.high
            ),
            options={"time_limit": seconds, "mip_rel_gap": 0.0},
        )


@dataclass(frozen=True)
class _Count:
    """
    A column that counts packs of one kind bought on one day, at one price, `each` at a time.

    Where a price starts at some number of packs, that number is one column, 0 or 1, and what is
    bought beyond it another: the program then sees that the first pack brings many.
    """

    line: int
    pack: int
    day: int
    column: int
    price: float
    each: int
    fewest: int
    most: int | None
    part: Literal["all", "first", "beyond"]


def best_plan(
    lines: Sequence[Line], terms: OrderTerms | None = None, *, seconds: float = SECONDS
) -> BuyingPlan:
    r"""
    Return the cheapest arrivals that meet every need with goods in date.

    Parameters
    ----------
    lines : sequence of Line
        Materials of one supplier that arrive together; what arrives on one day is one order.
    terms : OrderTerms, optional
        Cost and least value of each order; nothing by default.
    seconds : float, default 2
        When to stop looking; the plan then says by how much it may be too dear.

    Returns
    -------
    BuyingPlan
        Checked by `buying_plan.price_plan` in exact arithmetic. Empty if nothing is needed.

    Raises
    ------
    NoPlan
        If no plan keeps the rules; as `NoPlanInTime` if none was found in the time.

    Notes
    -----
    Columns are counts of packs by day and price break, and whether there is an order on a day.
    An order never needs to arrive on a day that is not the last day in time for some need: it can
    be moved to the next such day at no cost. Goods bought first are used first, so shelf life and
    lateness are a condition on every run of needs i to j: what arrives from
    :math:`u_i - L` to :math:`b_j` is at least what i to j use (Hall's condition for intervals
    that do not contain each other), where :math:`u` is the day of use, :math:`b` the last day in
    time and :math:`L` the shelf life. Quantities are divided by the packs' greatest common
    divisor and rounded up, so nothing is lost to a grid. One material alone is first looked at as
    a shortest path (`buying_path`), which mostly proves the cheapest plan; the program then has
    the rest of the time.
    """
    terms = terms or OrderTerms()
    used = tuple(
        replace(line, demands=tuple(d for d in line.demands if d.quantity > 0)) for line in lines
    )
    if not any(line.demands for line in used):
        return BuyingPlan(used, terms, (), 0.0, 0.0, (0.0,) * len(used))
    ends = time.perf_counter() + seconds
    known = _by_path(used[0], terms, PATH_SHARE * seconds) if len(used) == 1 else _Known()
    if known.plan is not None and known.plan.proven:
        return known.plan
    return _search(_Program(used, terms), ends, known)


@dataclass(frozen=True)
class _Known:
    """The best plan known before the program is solved, and what no plan costs less than."""

    plan: BuyingPlan | None = None
    bound: float = 0.0


def _by_path(line: Line, terms: OrderTerms, seconds: float) -> _Known:
    """Return what the shortest path tells of one material alone."""
    if not applies(line):
        return _Known()
    ends = time.perf_counter() + seconds
    path = Path(line, terms)
    if not math.isfinite(path.bound):
        raise NoPlan("no purchase keeps all rules")
    known = [p for p in (_kept((line,), terms, path.safe()), _quick((line,), terms)) if p]
    best = min((cost for cost, _ in known), default=math.inf)
    found = path.search(best, max(0.05, ends - time.perf_counter()))
    if better := _kept((line,), terms, found.arrivals):
        known.append(better)
    bound = max(0.0, path.bound, found.bound)
    if not known:
        return _Known(None, bound)
    cheapest = min(known, key=lambda row: row[0])[1]
    return _Known(_plan((line,), terms, cheapest, bound), bound)


def _quick(lines: tuple[Line, ...], terms: OrderTerms) -> tuple[float, tuple[Arrival, ...]] | None:
    return _kept(lines, terms, quick_plan(lines, terms))


def _kept(
    lines: tuple[Line, ...], terms: OrderTerms, arrivals: tuple[Arrival, ...] | None
) -> tuple[float, tuple[Arrival, ...]] | None:
    """Return arrivals with their cost; nothing where they break a rule."""
    if arrivals is None:
        return None
    try:
        return float(price_plan(lines, terms, arrivals)[0]), arrivals
    except NoPlan:
        return None


def _plan(
    lines: tuple[Line, ...], terms: OrderTerms, arrivals: tuple[Arrival, ...], bound: float
) -> BuyingPlan:
    """Check arrivals exactly and return them as a plan."""
    exact, expired = price_plan(lines, terms, arrivals)
    cost = float(exact)
    return BuyingPlan(lines, terms, arrivals, cost, min(cost, bound), expired)


def _search(whole: _Program, ends: float, known: _Known) -> BuyingPlan:
    """
    Solve the whole program for most of the time, then improve the best plan part by part.

    A window of days moves over the plan, and what arrives in it is chosen anew beside all other
    arrivals, as long as that saves money and the time lasts.
    """
    start = known.plan.arrivals if known.plan else quick_plan(whole.lines, whole.terms)
    share = 0.85 if whole.weight <= MOST_AT_ONCE else 0.4
    found, bound = whole.solve(max(0.05, share * (ends - time.perf_counter())))
    bound = max(bound, known.bound)
    best = min(
        (whole.priced(arrivals, bound) for arrivals in (start, found) if arrivals is not None),
        key=lambda plan: plan.cost,
        default=None,
    )
    if best is None:
        raise NoPlanInTime("the time ran out before a plan was found")
    width = max(4, 60 * len(whole.days) // whole.weight)
    first, idle = 0, 0
    while not best.proven and time.perf_counter() < ends and idle * width < len(whole.days):
        window = set(whole.days[first : first + 2 * width])
        left = ends - time.perf_counter()
        arrivals, _ = whole.solve(min(left, 0.4), best.arrivals, window)
        again = best if arrivals is None else whole.priced(arrivals, bound)
        idle = 0 if again.cost < best.cost - PROVEN_WITHIN / 2 else idle + 1
        best = min(again, best, key=lambda plan: plan.cost)
        first = first + width if first + 2 * width < len(whole.days) else 0
    return best


class _Program:
    """The program of some lines, to be solved as a whole or with the arrivals of days fixed."""

    def __init__(self, lines: Sequence[Line], terms: OrderTerms) -> None:
        self.lines, self.terms = tuple(lines), terms
        self.days = sorted({d.by for line in lines for d in line.demands})
        self._columns, self._counts, self._constant = _build(lines, terms)
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
        return _plan(self.lines, self.terms, arrivals, bound)

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
    lines: Sequence[Line], counts: Sequence[_Count], x: NDArray[np.float64]
) -> tuple[Arrival, ...]:
    sums: dict[tuple[int, int], list[int]] = {}
    for one in counts:
        n = round(float(x[one.column]))
        if n:
            own = sums.setdefault((one.day, one.line), [0] * len(lines[one.line].packs))
            own[one.pack] += n * one.each
    return tuple(Arrival(line, day, tuple(own)) for (day, line), own in sorted(sums.items()))


def _build(lines: Sequence[Line], terms: OrderTerms) -> tuple[_Columns, list[_Count], float]:
    program = _Columns()
    days = sorted({d.by for line in lines for d in line.demands})
    ordered = {day: program.column(terms.fixed + terms.freight, 1) for day in days}
    counts: list[_Count] = []
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
    program: _Columns, place: int, line: Line, terms: OrderTerms, ordered: dict[int, int]
) -> list[_Count]:
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
                    found.append(_Count(*kind, column, price, 1, fewest, most, "all"))
                    program.row({column: -1.0, order: upper}, 0.0)
                    continue
                switch = program.column(fewest * (price + held), 1)
                found.append(_Count(*kind, switch, price, fewest, fewest, most, "first"))
                chosen[switch] = 1.0
                if upper > fewest:
                    column = program.column(price + held, upper - fewest)
                    found.append(_Count(*kind, column, price, 1, fewest, most, "beyond"))
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


def _needs(program: _Columns, line: Line, counts: Sequence[_Count]) -> None:
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
    program: _Columns, line: Line, counts: Sequence[_Count], ordered: dict[int, int]
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


_CELLS = 2000
"""Cells of the grid on which the least money for a quantity is bounded; chosen here."""


def _least_money(program: _Columns, line: Line, counts: Sequence[_Count]) -> None:
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
