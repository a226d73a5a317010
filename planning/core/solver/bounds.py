"""
What no plan can beat: the least lateness and the fewest pots.

Lateness: each pour alone in an empty shop, standing on the pours below it. Pots: every lift is
cast from as few pots as hold it; full ones cannot be shared, so only what is left of each lift is
packed, and only together with what can be poured in the same spell of work without being later
than the plan. A spell ends where nobody works for longer than any gel limit, so all pots of a lift
lie in one: contents can be moved between them until all but one are full, which is why packing the
remainders alone is a bound. Taking less than the true limits keeps both bounds valid.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Iterable

from planning.core.batches import GRAM, pots_for, usable_batches_kg
from planning.core.solver import masks, packing, steps
from planning.core.solver.ahead import first_pour, opens_after, pouring_min, soonest
from planning.core.solver.board import lateness
from planning.core.solver.case import Case
from planning.core.solver.job import Job

UNIT_KG = 0.02
"""Portions are rounded down to this for the packing bound, which keeps it a bound."""


class Alone:
    """Earliest times of every pour in an empty shop."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.lift_start: dict[tuple[int, int], int] = {}
        self.finish: dict[int, int] = {}
        self.late: dict[int, int] = {}
        for job in case.jobs:
            self._visit(job)

    @property
    def lateness(self) -> int:
        return sum(self.late.values())

    def lateness_of(self, placed: Iterable[int]) -> int:
        """Return the least lateness of any plan that places these pours."""
        return sum(self.late.get(i, 0) for i in placed)

    def _visit(self, job: Job) -> None:
        if job.index in self.finish or job.trouble:
            return
        low = case_low = self.case.shop.earliest[job.index]
        if job.parent is not None:
            parent = self.case.jobs[job.parent]
            self._visit(parent)
            if parent.index not in self.finish:
                return
            low = max(case_low, self.finish[parent.index])
        finish = self._finish(job, low)
        if finish is not None:
            self.finish[job.index] = finish
            self.late[job.index] = lateness(job, finish)

    def _finish(self, job: Job, low: int) -> int | None:
        """Return the earliest minute a pour can be done, or None when it never can."""
        shop, board = self.case.shop, self.case.empty
        early = steps.earliest(shop, board, job.before, low)
        if early is None:
            return None
        ready = end = early[1]
        for index, lift in enumerate(job.lifts):
            if index:
                ready = opens_after(job, index, end)
            start = first_pour(shop, board, job, lift, max(ready, low))
            if start is None:
                return None
            self.lift_start[job.index, index] = start
            end = start + pouring_min(job, lift)
            if lift.fixed:
                end = max(end, *(p.end_min for _, p in lift.fixed))
        cured = max(soonest(job, end, "cure_min"), end + (job.pour.cure_min or 0))
        if not job.after:
            return cured
        tail = steps.earliest(shop, board, job.after, cured)
        return None if tail is None else tail[1]


def latest_finish(case: Case, alone: Alone, most_late: int) -> dict[int, int]:
    """
    Return the latest minute each pour may be done in a plan with `most_late` lateness.

    Whatever lateness the others cannot avoid is not there to be spent on this one.
    """
    spare = most_late - alone.lateness
    latest: dict[int, int] = {}
    for job in case.jobs:
        if job.index in alone.late:
            own = (spare + alone.late[job.index]) // job.pour.weight
            latest[job.index] = job.pour.due_min + own
    changed = True
    while changed:
        changed = False
        for job in case.jobs:
            if job.parent is None or job.index not in latest or job.parent not in latest:
                continue
            pouring = sum(pouring_min(job, x) for x in job.lifts)
            work = sum(s.step.hands_min + s.step.wait_min for s in job.before if not s.fixed)
            limit = latest[job.index] - job.tail_min - pouring - work
            if limit < latest[job.parent]:
                latest[job.parent] = limit
                changed = True
    return latest


def windows(
    case: Case, alone: Alone, latest: dict[int, int]
) -> dict[tuple[int, int], tuple[int, int]]:
    """Return the earliest and latest start of pouring each lift."""
    found = {}
    for job in case.jobs:
        if job.index not in latest:
            continue
        end = _latest_pour_end(case, job, latest[job.index])
        for index in range(len(job.lifts) - 1, -1, -1):
            lift = job.lifts[index]
            start = min(end - pouring_min(job, lift), case.problem.horizon_min)
            early = alone.lift_start[job.index, index]
            found[job.index, index] = (early, max(start, early))
            end = start - job.least_gap_min(index)
    return found


def _latest_pour_end(case: Case, job: Job, finish: int) -> int:
    cure = max(min(c.cure_min for c in job.chemistry.conditions), job.pour.cure_min or 0)
    end = finish
    for step in reversed(job.after):
        if step.fixed is not None:
            end = step.fixed.start_min
            continue
        bits = steps.step_mask(case.shop, case.empty, step)
        end = masks.last(bits, end - step.step.wait_min - step.step.hands_min)
    return end - cure


def pots_by_mass(case: Case) -> int:
    """Return the fewest pots of a plan of every pour, by mass, whatever the times."""
    total = len(case.frozen.batches)
    for chemistry in case.shop.systems:
        size = chemistry.usable_kg
        shared = 0.0
        for job in case.jobs:
            if job.chemistry is not chemistry or job.trouble:
                continue
            for lift in job.lifts:
                rest = sum(lift.divisions[0])
                if case.problem.settings.allow_sharing and job.pour.may_share:
                    shared += rest
                elif rest > 0:
                    total += pots_for(rest, size)
        total += math.ceil(shared / size - 1e-6)
    return total


def pots_bound(
    case: Case,
    alone: Alone,
    most_late: int | None,
    expired: Callable[[], bool] = lambda: False,
) -> int:
    """
    Return the fewest pots of any plan with these lifts and at most this lateness.

    Parameters
    ----------
    most_late : int or None
        Lateness of the plan; None when lateness may be traded for pots.
    """
    spare = most_late if most_late is not None else 10**9
    at = windows(case, alone, latest_finish(case, alone, spare))
    total = len(case.frozen.batches)
    for chemistry in case.shop.systems:
        sizes = usable_batches_kg(case.problem, chemistry.system)
        if sizes:
            jobs = [j for j in case.jobs if j.chemistry is chemistry and not j.trouble]
            total += _system_bound(case, jobs, sizes[0], at, expired)
    return total


def spells(case: Case) -> list[int]:
    """Return the minutes at which spells of work begin, see the module's text."""
    gel = max((c.gel_limit_min for s in case.problem.systems for c in s.conditions), default=0)
    frozen = [(b.start_min, b.end_min) for b in case.frozen.batches]
    windows = sorted([*(w for p in case.problem.people for w in p.shifts), *frozen])
    begins: list[int] = []
    until = 0
    for start, end in windows:
        if not begins or start > until + gel:
            begins.append(start)
        until = max(until, end)
    return begins


def _system_bound(
    case: Case,
    jobs: list[Job],
    usable_kg: float,
    at: dict[tuple[int, int], tuple[int, int]],
    expired: Callable[[], bool],
) -> int:
    settings = case.problem.settings
    own = 0
    portions = 0
    items: list[packing.Item] = []
    begins = spells(case)
    for job in jobs:
        share = settings.allow_sharing and job.pour.may_share
        for index, lift in enumerate(job.lifts):
            rest = sum(lift.divisions[0])
            if rest <= 0 or (job.index, index) not in at:
                continue
            count = pots_for(rest, usable_kg)
            own += count - 1
            if not share:
                own += 1
                continue
            portions += 1
            left = rest - usable_kg * (count - 1)
            early, late = at[job.index, index]
            size = max(1, math.floor(left / UNIT_KG + 1e-9))
            items.append(packing.Item(size, *(bisect_right(begins, t) for t in (early, late))))
    if not items:
        return own
    most = min(settings.most_tools_per_batch, jobs[0].chemistry.most_tools)
    capacity = math.ceil(usable_kg / UNIT_KG - GRAM)
    capacity = max(capacity, max(i.size for i in items))
    by_count = -(-portions // most) if all(
        len(x.divisions[0]) <= 1 for j in jobs for x in j.lifts
    ) else 0  # fmt: skip
    return own + max(by_count, packing.least_bins(items, capacity, expired))
