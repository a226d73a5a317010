"""The cheapest purchases in a given time: by shortest path, by program, then part by part."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

from shop.core.buying_model import Program, checked_plan
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

SECONDS = 1.8
"""Time for one supplier's orders, unless the caller gives another."""


PATH_SHARE = 0.5
"""Share of the time for the shortest path of one material; chosen here by trial."""
MOST_AT_ONCE = 600
"""Whole columns up to which a program is solved in one piece; chosen here by trial."""


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
    return _search(Program(used, terms), ends, known)


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
    return _Known(checked_plan((line,), terms, cheapest, bound), bound)


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


def _search(whole: Program, ends: float, known: _Known) -> BuyingPlan:
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
