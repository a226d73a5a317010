"""
Look ahead in an empty shop: how late a pour and those that stand on it will be at the least.

A sum of hours to come is a poor guide: what ends at ten at night waits for the morning, and a
pour that stands on it may then wait for another day. Here the hours to come are laid into the
shifts. People and mixers are taken to be free, so nothing is promised later than it need be.
"""

from __future__ import annotations

from bisect import bisect_right

from planning.core.plan import portion_min
from planning.core.solver import masks, pots, steps
from planning.core.solver.board import Board, lateness
from planning.core.solver.job import Job, LiftJob, StepJob
from planning.core.solver.shop import Shop

MOST_KEPT = 200_000
"""Answers kept before all are forgotten, which bounds the memory."""


class Ahead:
    """Least lateness to come, by what was poured last and when."""

    def __init__(self, shop: Shop, jobs: list[Job], empty: Board) -> None:
        self.shop, self.jobs, self.empty = shop, jobs, empty
        self._known: dict[tuple[int, int, int], int] = {}
        self._steps: dict[tuple[tuple[int, ...], int, int], int] = {}
        self._lifts: dict[tuple[int, int], int] = {}

    def late_after(self, job: Job, lift: int, end: int) -> int:
        """
        Return the weighted late minutes to come, of the pour and of all that stand on it.

        Parameters
        ----------
        lift : int
            The lift poured last; -1 when none is poured yet.
        end : int
            When its pouring ends; with `lift` -1 when work on the pour may begin, min.
        """
        key = (job.index, lift, end)
        found = self._known.get(key)
        if found is None:
            if len(self._known) >= MOST_KEPT:
                self._known.clear()
            found = self._known[key] = self._late_after(job, lift, end)
        return found

    def latest_start(self, job: Job) -> int:
        """Return the latest full hour to begin a pour and be no later for it."""
        low = self.shop.earliest[job.index]
        least = self.late_after(job, -1, low)
        hours = range(low, self.shop.length, 60)
        later = bisect_right(hours, least, lo=1, key=lambda at: self.late_after(job, -1, at))
        return hours[later - 1]

    def _late_after(self, job: Job, lift: int, end: int) -> int:
        return self.late_after_done(job, self._moments(job, lift, end)[-1])

    def late_after_done(self, job: Job, finish: int) -> int:
        """Return the same of a pour that is done at `finish`."""
        late = lateness(job, finish)
        for child in job.children:
            above = self.jobs[child]
            if not above.trouble:
                late += self.late_after(above, -1, max(finish, self.shop.earliest[child]))
        return late

    def moments(self, job: Job, low: int) -> list[int]:
        """Return when hands would start on a pour begun at `low` or later, and when it is done."""
        return self._moments(job, -1, low)

    def _moments(self, job: Job, lift: int, end: int) -> list[int]:
        found: list[int] = []
        if lift < 0:
            end = self._run(job, job.before, end, found)
        for index in range(lift + 1, len(job.lifts)):
            low = opens_after(job, index, end) if index else end
            end = self._poured(job, index, low)
            found.append(end)
        cured = max(soonest(job, end, "cure_min"), end + (job.pour.cure_min or 0))
        found.append(self._run(job, job.after, cured, found))
        return found

    def _run(self, job: Job, chain: tuple[StepJob, ...], low: int, found: list[int]) -> int:
        """Return when a chain of steps begun at `low` or later can have run."""
        for step in chain:
            if step.fixed is not None:
                low = max(low, step.fixed.end_min + step.step.wait_min)
                continue
            key = (step.units, step.step.hands, step.step.hands_min)
            bits = self._steps.get(key)
            if bits is None:
                bits = self._steps[key] = steps.step_mask(self.shop, self.empty, step)
            start = masks.first(bits, low)
            if start < 0:  # after the horizon nobody is known to be at work
                start = max(low, self.shop.length)
            found.append(start)
            low = start + step.step.hands_min + step.step.wait_min
        return low

    def _poured(self, job: Job, index: int, low: int) -> int:
        """Return the earliest end of pouring a lift at `low` or later."""
        lift = job.lifts[index]
        if lift.fixed:
            return max(low, *(p.end_min for _, p in lift.fixed))
        key = (job.index, index)
        bits = self._lifts.get(key)
        if bits is None:
            bits = self._lifts[key] = first_mask(self.shop, self.empty, job, lift)
        system = job.chemistry.system
        lead = system.weigh_min + system.mix_min
        start = masks.first(bits, max(0, low - lead))
        if start < 0:
            start = max(low, self.shop.length)
        return start + lead + pouring_min(job, lift)


def first_pour(shop: Shop, board: Board, job: Job, lift: LiftJob, low: int) -> int | None:
    """Return the earliest start of pouring a lift at `low` or later."""
    if lift.fixed:
        return min(p.start_min for _, p in lift.fixed)
    bits = first_mask(shop, board, job, lift)
    system = job.chemistry.system
    lead = system.weigh_min + system.mix_min
    start = masks.first(bits, max(0, low - lead))
    return None if start < 0 else start + lead


def first_mask(shop: Shop, board: Board, job: Job, lift: LiftJob) -> int:
    """Return the minutes at which the first pot of a lift may be begun."""
    bits = 0
    for portions in lift.divisions:
        if portions:
            bits |= pots.start_mask(shop, board, job, min(portions), len(portions) == 1)
    return bits


def pouring_min(job: Job, lift: LiftJob) -> int:
    """Return the least minutes from the first to the last minute of pouring."""
    portions = lift.divisions[0]
    rate = job.chemistry.system.pour_rate_kg_min
    return portion_min(sum(portions), rate) if portions else 0


def opens_after(job: Job, index: int, end: int) -> int:
    """Return when a lift may be poured at the earliest, the one below in at `end` or later."""
    known = job.window(index)
    return job.gaps(index).soonest(end) if known is None else known.opens_min


def soonest(job: Job, end: int, clock: str) -> int:
    """Return when a clock that starts at `end` or later can have run, whatever the day."""
    found = []
    for start, until, i in job.chemistry.segments():
        if until is None or until > end:
            found.append(max(start, end) + int(getattr(job.chemistry.conditions[i], clock)))
    return min(found)
