"""Whether a pour still keeps every rule at the times of a previous plan."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from planning.core.solver import pots, steps
from planning.core.solver.board import Board, Work
from planning.core.solver.job import Job, LiftJob, StepJob
from planning.core.solver.shop import Shop

PotIds = tuple[int, ...]


def first_contact(job: Job, board: Board, ids: list[PotIds]) -> int:
    """Return when the first pot of a pour is mixed."""
    fixed = [b.contact_min for lift in job.lifts for b, _ in lift.fixed]
    own = [board.pots[job.chemistry.index][id].contact for lift in ids for id in lift]
    return min((*fixed, *own))


def first_start(job: Job, board: Board, ids: list[PotIds]) -> int:
    """Return the first minute of pouring."""
    starts = [p.start_min for _, p in job.lifts[0].fixed]
    for id in ids[0]:
        pot = board.pots[job.chemistry.index][id]
        starts += [s.start for s in pot.shares if s.job == job.index]
    return min(starts)


def cured_min(job: Job, board: Board, ids: list[PotIds]) -> int:
    """Return when the cure of a pour is over, counted from the end of its last lift."""
    ends = [p.end_min for _, p in job.lifts[-1].fixed]
    for id in ids[-1]:
        pot = board.pots[job.chemistry.index][id]
        ends += [s.end for s in pot.shares if s.job == job.index]
    return max(ends) + max(job.chemistry.at(max(ends)).cure_min, job.pour.cure_min or 0)


def longest_to_pour(shop: Shop, job: Job) -> int | None:
    """Return how long the pour may follow the last step before it, of step and shop; or None."""
    limits = (job.before[-1].step.longest_wait_min, shop.settings.coat_to_pour_most_min)
    return min((limit for limit in limits if limit is not None), default=None)


@dataclass(frozen=True)
class OldTimes:
    """One pour with its work and its pots, all on the board at their old times or near them."""

    shop: Shop
    board: Board
    job: Job
    works: list[Work]
    ids: list[PotIds]
    """Of the pots of each lift."""

    @property
    def befores(self) -> list[Work]:
        """Its steps before the pour."""
        return [w for w in self.works if w.kind == "before"]

    @property
    def afters(self) -> list[Work]:
        """Its steps after the pour."""
        return [w for w in self.works if w.kind == "after"]

    @property
    def done_min(self) -> int:
        """When nothing of it is left to do."""
        if self.afters:
            return steps.ready_after(self.job.after[-1], self.afters[-1])
        return cured_min(self.job, self.board, self.ids)

    def why_not(self) -> str:
        """Return which of waits, gaps, wet on wet, cure and attendance fails; empty if none."""
        job = self.job
        return (
            self._too_soon()
            or _waits(self.befores, job.before)
            or _waits(self.afters, job.after)
            or self._lifts()
            or self._cure()
        )

    def _too_soon(self) -> str:
        pots_of = self.board.pots[self.job.chemistry.index]
        starts = [w.start for w in self.works if not w.fixed]
        starts += [pots_of[id].start for lift in self.ids for id in lift]
        if starts and min(starts) < pots.not_before(self.shop, self.board, self.job.index):
            return "it may not start as early any more"
        return ""

    def _lifts(self) -> str:
        end = -1
        for number, lift in enumerate(self.job.lifts):
            spans = self._spans(number, lift)
            reason = self._wet(number, spans) or self._before(number, lift, spans)
            reason = reason or (self._gap(number, spans, end) if number else "")
            if reason:
                return reason
            end = spans[-1][2]
        return ""

    def _spans(self, number: int, lift: LiftJob) -> list[tuple[int, int, int]]:
        """Return contact, start and end of each portion of a lift, in order of pouring."""
        spans = [(b.contact_min, p.start_min, p.end_min) for b, p in lift.fixed]
        for id in self.ids[number]:
            pot = self.board.pots[self.job.chemistry.index][id]
            share = next(s for s in pot.shares if s.job == self.job.index)
            spans.append((pot.contact, share.start, share.end))
        return sorted(spans, key=lambda s: s[1])

    def _wet(self, number: int, spans: list[tuple[int, int, int]]) -> str:
        """Judge hour of the day, wet on wet and attendance of a lift."""
        shop, chemistry = self.shop, self.job.chemistry
        own = [self.board.pots[chemistry.index][id] for id in self.ids[number]]
        shares = [s for pot in own for s in pot.shares if s.job == self.job.index]
        if any(not shop.pour_clock >> share.start & 1 for share in shares):
            return "it may not be poured so late in the day"
        for low, above in itertools.pairwise(spans):
            gelled = low[0] + chemistry.gel_min(low[0])
            if above[1] < low[2] or above[2] > gelled:
                return "the batch below would gel too early"
        if own and not shop.attended(chemistry) >> spans[-1][2] & 1:
            return "nobody would be there until its peak"
        return ""

    def _before(self, number: int, lift: LiftJob, spans: list[tuple[int, int, int]]) -> str:
        """Judge a lift beside the steps before the pour."""
        befores, ids = self.befores, self.ids[number]
        if not befores:
            return ""
        step, first = befores[-1], spans[0][1]
        if number == 0 and (ids or not step.fixed):
            longest = longest_to_pour(self.shop, self.job)
            if first < steps.ready_after(self.job.before[-1], step):
                return "the last step before the pour now waits longer"
            if longest is not None and first > step.end + longest:
                return "the pour is too long after the last step"
        mixed = [self.board.pots[self.job.chemistry.index][id].contact for id in ids]
        if not step.fixed:
            mixed += [b.contact_min for b, _ in lift.fixed]
        if min(mixed, default=step.end) < step.end:
            return "a step before the pour would end after the pot is mixed"
        return ""

    def _gap(self, number: int, spans: list[tuple[int, int, int]], end: int) -> str:
        """Judge a lift beside the one below it, whose pouring ended at `end`."""
        if not self.ids[number]:
            return ""
        first = spans[0][1]
        ready, closes = self.job.gap(number, end)
        mixed = min(contact for contact, _, _ in spans)
        abrades = [w for w in self.works if w.kind == "abrade" and w.number == number]
        awry = any(w.start < ready or w.end > mixed for w in abrades)
        abraded = abrades and self.shop.settings.overdue_lift == "abrade"
        if first < ready or awry or (first > closes and not abraded):
            return "the gap between two lifts no longer holds"
        return ""

    def _cure(self) -> str:
        afters = self.afters
        cured = cured_min(self.job, self.board, self.ids)
        if afters and not afters[0].fixed and afters[0].start < cured:
            return "the cure now takes longer"
        return ""


def _waits(works: list[Work], jobs: tuple[StepJob, ...]) -> str:
    for a, b, step in zip(works, works[1:], jobs, strict=False):
        longest = step.step.longest_wait_min
        if b.start < steps.ready_after(step, a):
            return "a step now waits longer"
        if longest is not None and b.start > a.end + longest:
            return "a step now may not wait so long"
    return ""
