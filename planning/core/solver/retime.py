"""
Time a plan anew with CP-SAT: the same pots, people and order in each place, less late.

Insertion places one pour at a time; this moves all of them at once. What comes back is laid down
by `carry.carry_over`, which holds every rule again, so a rule this model leaves out (a warmer day,
a break between touching shifts) costs the new times and never the plan its validity.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

from planning.core.solver import answer, masks, ovens, steps
from planning.core.solver.board import Board, Placed, Pot, Share, Work
from planning.core.solver.carry import carry_over
from planning.core.solver.case import Case
from planning.core.solver.job import Job, StepJob
from planning.core.solver.prices import Prices
from planning.core.solver.timing import Activity, Lag, Model, Resource, Target

MOST_POURS = 300
Key = tuple[str, int, int]


def retime(case: Case, board: Board, prices: Prices, work: float, seconds: float) -> Board:
    """
    Return a less late board, or the same one.

    Parameters
    ----------
    work : float
        Deterministic limit of the search.
    seconds : float
        Wall-clock cut, s.
    """
    if case.problem.previous is not None or len(board.placed) > MOST_POURS or board.light:
        return board
    week = _Week(case, board)
    found = week.model().solve(seconds=seconds, work=work, seed=case.problem.limits.seed,
                               workers=1, hint=week.now)  # fmt: skip
    if not found.starts or found.value >= board.late:
        return board
    plan = answer.make_plan(case, week.moved(found.starts), {}, ())
    other = Case(replace(case.problem, previous=plan))
    laid = carry_over(other, prices)
    better = len(laid.placed) == len(board.placed) and prices.cost(case, laid) < prices.cost(
        case, board
    )
    return laid if better and case.stock.shortage(laid) is None else board


class _Week:
    """The board as activities and lags."""

    def __init__(self, case: Case, board: Board) -> None:
        self.case, self.board = case, board
        self.number: dict[Key, int] = {}
        self.activities: list[Activity] = []
        self.now: list[int] = []
        self.lags: list[Lag] = []
        self.targets: list[Target] = []
        self.units: dict[int, int] = {}
        self.held = {i for i, p in board.placed.items() if _is_held(case.jobs[i], p)}
        for pots in board.pots:
            for pot in pots.values():
                self._add_pot(pot)
        for index in sorted(board.placed):
            self._add_job(case.jobs[index], board.placed[index])
        self._follow_in_places()

    def model(self) -> Model:
        away = [self._away(unit) for unit in self.units]
        horizon = self.case.shop.place_length
        return Model(
            self.activities, self.lags, [Resource(1, a) for a in away], horizon, self.targets
        )

    def _away(self, unit: int) -> tuple[tuple[int, int, int], ...]:
        """Return when a unit is not at work, frozen work included."""
        bits, end = self.case.empty.free[unit], self.case.shop.length
        found, at = [], 0
        while at < end:
            start = masks.first(bits, at)
            start = end if start < 0 else min(start, end)
            if start > at:
                found.append((at, start, 1))
            at = masks.first(~bits & masks.span(0, end + 1), start) if start < end else end
            at = end if at < 0 else at
        return (*found, (end, self.case.shop.place_length, 1))

    def _add(self, key: Key, activity: Activity, now: int) -> int:
        self.number[key] = len(self.activities)
        self.activities.append(activity)
        self.now.append(now)
        return self.number[key]

    def _unit(self, unit: int) -> int:
        return self.units.setdefault(unit, len(self.units))

    def _add_pot(self, pot: Pot) -> None:
        fixed = any(s.job in self.held for s in pot.shares)
        early, late = (pot.start, pot.start) if fixed else (0, self.case.problem.horizon_min - 1)
        use = tuple((self._unit(u), 1) for u in pot.people)
        activity = Activity(pot.end - pot.start, use, early, late, self._pot_starts(pot))
        n = self._add(("pot", pot.system, pot.id), activity, pot.start)
        mixer = Activity(pot.end - pot.contact, ((self._unit(pot.mixer), 1),))
        m = self._add(("mixer", pot.system, pot.id), mixer, pot.contact)
        weigh = pot.contact - pot.start
        self.lags += [(n, m, weigh), (m, n, -weigh)]

    def _pot_starts(self, pot: Pot) -> tuple[tuple[int, int], ...]:
        """Return when the pot may be begun by pot life, last pour time and attendance."""
        shop = self.case.shop
        chemistry = shop.systems[pot.system]
        bits = shop.allowed_starts(chemistry, pot.pour_end - pot.pour, False)
        for share in pot.shares:
            bits &= shop.pour_clock >> (share.start - pot.start)
            placed = self.board.placed[share.job]
            if placed.pots[share.lift][-1] == pot.id:
                bits &= shop.attended(chemistry) >> (share.end - pot.start)
        return _ranges(bits)

    def _add_job(self, job: Job, placed: Placed) -> None:
        low = self.case.shop.earliest[job.index]
        held = job.index in self.held
        for k, work in enumerate(placed.works):
            fixed = held or work.fixed or work.oven != ovens.NO_OVEN
            late = work.start if fixed else self.case.problem.horizon_min - 1
            early = work.start if fixed else low
            use = tuple((self._unit(u), 1) for u in work.people)
            activity = Activity(work.end - work.start, use, early, late)
            self._add(("work", job.index, k), activity, work.start)
        if held:
            self._target(job, placed)
            return
        self._chain(job, placed, "before", job.before)
        self._chain(job, placed, "after", job.after)
        self._pour(job, placed)
        firsts = [self.number["work", job.index, k] for k in range(len(placed.works))]
        firsts += [n for n, _ in self._portions(job, placed)]
        for n in firsts:
            self.activities[n] = replace(
                self.activities[n], early=max(self.activities[n].early, low)
            )
            if job.parent is not None:
                below, after = self._done(self.case.jobs[job.parent])
                self.lags.append((below, n, after))
        self._target(job, placed)

    def _portions(self, job: Job, placed: Placed) -> list[tuple[int, Share]]:
        """Return (activity, portion with times from its pot's start) in order of pouring."""
        found = []
        system = job.chemistry.index
        for ids in placed.pots:
            for id in ids:
                pot = self.board.pots[system][id]
                share = next(s for s in pot.shares if s.job == job.index)
                own = share._replace(start=share.start - pot.start, end=share.end - pot.start)
                found.append((self.number["pot", system, id], own))
        return found

    def _chain(self, job: Job, placed: Placed, kind: str, own: tuple[StepJob, ...]) -> None:
        numbers = [
            (self.number["work", job.index, k], w)
            for k, w in enumerate(placed.works) if w.kind == kind
        ]  # fmt: skip
        for (a, work), (b, _), step in zip(numbers, numbers[1:], own, strict=False):
            self._after(a, work, b, 0, step, step.step.longest_wait_min)

    def _after(
        self, a: int, work: Work, b: int, offset: int, step: StepJob, longest: int | None
    ) -> None:
        """Let b (`offset` after its start) follow the wait of a step, within the longest."""
        ready = steps.ready_after(step, work) - work.start
        self.lags.append((a, b, ready - offset))
        if longest is not None:
            self.lags.append((b, a, offset - (work.end - work.start) - longest))

    def _pour(self, job: Job, placed: Placed) -> None:
        portions = self._portions(job, placed)
        chemistry, system = job.chemistry, job.chemistry.system
        befores = [
            (self.number["work", job.index, k], w)
            for k, w in enumerate(placed.works) if w.kind == "before"
        ]  # fmt: skip
        if befores:
            limits = (
                job.before[-1].step.longest_wait_min,
                self.case.shop.settings.coat_to_pour_most_min,
            )
            longest = min((x for x in limits if x is not None), default=None)
            n, share = portions[0]
            self._after(*befores[-1], n, share.start, job.before[-1], longest)
            a, work = befores[-1]
            for n, _ in portions:
                self.lags.append((a, n, work.end - work.start - system.weigh_min))
        for (a, low), (b, up) in itertools.pairwise(portions):
            if low.lift == up.lift:
                gel = chemistry.gel_min(self.now[a] + system.weigh_min)
                self.lags.append((a, b, low.end - up.start))
                self.lags.append((b, a, up.end - system.weigh_min - gel))
                continue
            end = self.now[a] + low.end
            least, greatest = (at - end for at in job.gap(up.lift, end))
            self.lags.append((a, b, low.end + least - up.start))
            abrades = [
                (self.number["work", job.index, k], w) for k, w in enumerate(placed.works)
                if w.kind == "abrade" and w.number == up.lift
            ]  # fmt: skip
            for n, work in abrades:
                self.lags.append((a, n, low.end + least))
                self.lags.append((n, b, work.end - work.start - system.weigh_min))
            if not abrades:
                self.lags.append((b, a, up.start - low.end - greatest))
        afters = [k for k, w in enumerate(placed.works) if w.kind == "after"]
        if afters:
            n, share = portions[-1]
            self.lags.append((n, self.number["work", job.index, afters[0]],
                              share.end + self._cure(job, n, share)))  # fmt: skip

    def _cure(self, job: Job, n: int, share: Share) -> int:
        own = job.chemistry.at(self.now[n] + share.end).cure_min
        return max(own, job.pour.cure_min or 0)

    def _done(self, job: Job) -> tuple[int, int]:
        """Return the last activity of a pour and how long after its start the pour is done."""
        placed = self.board.placed[job.index]
        afters = [k for k, w in enumerate(placed.works) if w.kind == "after"]
        if afters:
            n = self.number["work", job.index, afters[-1]]
            return n, placed.finish - placed.works[afters[-1]].start
        n, share = self._portions(job, placed)[-1]
        return n, share.end + self._cure(job, n, share)

    def _target(self, job: Job, placed: Placed) -> None:
        if not placed.works and not any(placed.pots):
            return
        n, after = self._done(job)
        self.targets.append(Target(n, job.pour.due_min - after, job.pour.weight))

    def _follow_in_places(self) -> None:
        """Keep the order of pours in each slot."""
        slots: dict[int, list[tuple[int, int]]] = {}
        for index, placed in self.board.placed.items():
            slots.setdefault(placed.slot, []).append((placed.stand_start, index))
        for stands in slots.values():
            stands.sort()
            for (_, i), (_, j) in itertools.pairwise(stands):
                if j in self.held:
                    continue
                begin, offset = self._begin(self.case.jobs[j])
                if i in self.held:
                    early = self.board.placed[i].finish - offset
                    activity = self.activities[begin]
                    self.activities[begin] = replace(activity, early=max(early, activity.early))
                    continue
                done, after = self._done(self.case.jobs[i])
                self.lags.append((done, begin, after - offset))

    def _begin(self, job: Job) -> tuple[int, int]:
        """Return the activity with which a stand begins, and how long after its start."""
        placed = self.board.placed[job.index]
        for k, work in enumerate(placed.works):
            if work.kind == "before" and job.before[work.number].step.holds_place:
                return self.number["work", job.index, k], 0
        n, share = self._portions(job, placed)[0]
        return n, share.start

    def moved(self, at: tuple[int, ...]) -> Board:
        """Return a board with new times, good for writing down only."""
        board = self.board.copy()
        for system, pots in enumerate(board.pots):
            for id, pot in pots.items():
                by = at[self.number["pot", system, id]] - pot.start
                pots[id] = pot._replace(
                    start=pot.start + by, contact=pot.contact + by, pour=pot.pour + by,
                    pour_end=pot.pour_end + by, end=pot.end + by,
                    shares=tuple(
                        s._replace(start=s.start + by, end=s.end + by) for s in pot.shares
                    ),
                )  # fmt: skip
        for index, placed in board.placed.items():
            works = tuple(
                w._replace(start=n, end=n + w.end - w.start,
                           oven_start=n + w.oven_start - w.start)
                for k, w in enumerate(placed.works)
                for n in (at[self.number["work", index, k]],)
            )  # fmt: skip
            begin, offset = (None, 0) if index in self.held else self._begin(self.case.jobs[index])
            start = placed.stand_start if begin is None else at[begin] + offset
            board.placed[index] = placed._replace(works=works, stand_start=start)
        return board


def _is_held(job: Job, placed: Placed) -> bool:
    """Return whether some of a pour is frozen; then all of it keeps its time."""
    return job.stand is not None or any(w.fixed for w in placed.works) or any(
        x.fixed for x in job.lifts
    )  # fmt: skip


def _ranges(bits: int) -> tuple[tuple[int, int], ...]:
    """Return runs of set bits as closed ranges."""
    found = []
    at = masks.first(bits, 0)
    while at >= 0:
        run = ~(bits >> at)
        length = (run & -run).bit_length() - 1
        found.append((at, at + length - 1))
        at = masks.first(bits, at + length)
    return tuple(found)
