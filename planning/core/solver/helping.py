"""
What would help: small changes to the shop are tried until one lets a pour through, or in time.

A change is only proposed after the week has been solved again with it. Every such trial begins
from the same plan, where there is one, moves are free in it, and it is given the same effort as
the week as it is; so what is gained is gained by the change and not by searching longer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

from planning.core.plan import Plan, Problem
from planning.core.problem import Pour, Window
from planning.core.solver import search
from planning.core.solver.board import Blocked
from planning.core.solver.candidates import Change, candidates
from planning.core.solver.carry import carry_over
from planning.core.solver.case import Case
from planning.core.solver.causes import MATERIAL, cause_of
from planning.core.solver.job import Job
from planning.core.solver.prices import Prices
from planning.core.solver.stock import materials_of, parts_kg
from planning.core.solver.wording import hours

SOLVED = 60
"""Changes for which the whole week is solved again before the search gives up on a pour."""
SOLVED_IN_PART = 30
"""Further ones that cannot bring a late pour in on time, but sooner."""
WORTH_IT = 0.1
"""Share of its lateness by which a change must bring a pour in sooner to be offered."""


def never() -> bool:
    """Say that there is time."""
    return False


def what_helps(
    problem: Problem,
    pour: str,
    due: bool = False,
    expired: Callable[[], bool] = never,
    plan: Plan | None = None,
) -> Change | None:
    """
    Return the first change with which a pour has a place and no other pour loses its own.

    Parameters
    ----------
    due : bool
        The pour must also be done when it is due, and the week as a whole be less late. Where no
        change does that, the one that brings it in soonest is returned, with how late it is then.
    expired : callable
        Ends the search when it says True.
    plan : Plan, optional
        What each trial begins from; without it, from nothing.
    """
    case = Case(problem)
    own = job_of(case, pour)
    if expired():
        return None
    alone = alone_of(case, own)
    asked = _Asked(problem, alone, own.pour, due, plan, _loads(case, own), expired)
    cause = cause_of(alone, own.pour, asked.fits)
    if cause is not None and cause[0] == MATERIAL:
        cause = None  # more of it is what is tried first, for the rule that is found below
    before = asked.as_it_is()
    changes: Iterator[Change] = (
        change
        for one in alone.pours
        for change in candidates(problem, one, _shortage(case, job_of(case, one.id)))
    )
    if cause is not None:  # what eases the rule that binds is tried before anything else
        changes = iter(sorted(changes, key=lambda change: change.rule != cause[0]))
    part: tuple[int, Change] | None = None
    put_off: list[Change] = []
    solved = 0
    for change in changes:
        if expired() or solved == SOLVED:
            break
        if not asked.fits(change.problem):
            put_off.append(change)
            continue
        solved += 1
        after = asked.with_change(change)
        if after is None or not after.planned or after.unplaced > before.unplaced:
            continue
        if not due or (after.late == 0 and after.week_late < before.week_late):
            return _named(change, cause, asked)
        part = _sooner(part, change, before, after)
    for change in put_off[:SOLVED_IN_PART] if due else ():
        if expired():
            break
        after = asked.with_change(change)
        if after is not None and after.planned and after.unplaced <= before.unplaced:
            part = _sooner(part, change, before, after)
    if part is None:
        return None
    late, change = part
    weight = own.pour.weight
    words = f"{hours(late // weight)} late instead of {hours(before.late // weight)}"
    return replace(_named(change, cause, asked), words=f"{change.words}, then {words}")


class _Outcome(NamedTuple):
    planned: bool
    unplaced: int
    late: int
    """How late the pour is, weighted min."""
    week_late: int


def _sooner(
    part: tuple[int, Change] | None, change: Change, before: _Outcome, after: _Outcome
) -> tuple[int, Change] | None:
    """Return the change that brings the pour in soonest, at no cost to the week."""
    enough = before.late * (1 - WORTH_IT)
    if after.late > enough or after.week_late >= before.week_late:
        return part
    return part if part is not None and part[0] <= after.late else (after.late, change)


@dataclass(frozen=True)
class _Asked:
    """A pour asked about: its week, the week with it and what it stands on alone, and the aim."""

    problem: Problem
    alone: Problem
    pour: Pour
    due: bool
    plan: Plan | None
    loads: dict[str, list[Window]]
    expired: Callable[[], bool]

    def fits(self, changed: Problem) -> bool:
        """Return whether the pour and what it stands on would do without the other pours."""
        ids = {p.id for p in self.alone.pours}
        pours = tuple(p for p in changed.pours if p.id in ids)
        small = replace(changed, pours=pours, previous=None, frozen=self.alone.frozen)
        try:
            return fits(_loaded(small, self.loads), self.pour.id, self.due)
        except ValueError:
            return False

    def as_it_is(self) -> _Outcome:
        """Return how the week comes off unchanged; the best of two tries where it is late."""
        seed = self.problem.limits.seed
        seeds = (seed, seed + 1) if self.due else (seed,)
        tries = [self._outcome(self.problem, s) for s in seeds]
        planned = max(t.planned for t in tries)
        return _Outcome(
            planned,
            min(t.unplaced for t in tries),
            min(t.late for t in tries if t.planned == planned),
            min(t.week_late for t in tries),
        )

    def with_change(self, change: Change) -> _Outcome | None:
        """Return how the week comes off with a change; None where it is no week or time is up."""
        try:
            found = self._outcome(change.problem, self.problem.limits.seed)
        except ValueError:
            return None
        return None if self.expired() else found

    def _outcome(self, problem: Problem, seed: int) -> _Outcome:
        """Solve briefly, from the plan where there is one; return how pour and week come off."""
        if self.plan is not None:
            problem = from_plan(problem, self.plan)
        case = Case(problem)
        prices = Prices.of(case)
        begun = case.empty if self.plan is None else carry_over(case, prices)
        meter = search.Meter(2 * len(case.jobs) + 60, self.expired)
        board = search.start(case, begun, prices, meter, 1)
        own = job_of(case, self.pour.id)
        if own.index not in board.placed or board.placed[own.index].late:
            board = search.improve(case, board, prices, meter, seed)
        board = search.without_light(case, board)
        placed = board.placed.get(own.index)
        return _Outcome(
            planned=placed is not None,
            unplaced=len(case.jobs) - len(board.placed),
            late=placed.late if placed else 0,
            week_late=board.late,
        )


def from_plan(problem: Problem, plan: Plan) -> Problem:
    """Return the problem with a plan to begin from, of which nothing costs anything to move."""
    freeze = problem.settings.freeze_until_min if problem.previous is not None else 0
    settings = replace(
        problem.settings, move_price=0.0, late_minutes_per_move=0.0, freeze_until_min=freeze
    )
    return replace(problem, previous=plan, settings=settings)


def job_of(case: Case, pour: str) -> Job:
    """Return a pour made ready."""
    return next(j for j in case.jobs if j.pour.id == pour)


def with_below(case: Case, job: Job) -> tuple[Pour, ...]:
    """Return a pour and all that it stands on."""
    found = [job.pour]
    at = job.parent
    while at is not None:
        found.append(case.jobs[at].pour)
        at = case.jobs[at].parent
    return tuple(found)


def alone_of(case: Case, job: Job) -> Problem:
    """Return the problem of a pour and what it stands on, with all that is frozen of others."""
    alone = replace(case.problem, pours=with_below(case, job), previous=None, frozen=case.frozen)
    return _loaded(alone, _loads(case, job))


def _loads(case: Case, job: Job) -> dict[str, list[Window]]:
    """Return when frozen loads of other pours are in each oven."""
    own = {p.id for p in with_below(case, job)}
    steps = {(p.id, s.id): s for p in case.problem.pours for s in (*p.before, *p.after)}
    found: dict[str, list[Window]] = {}
    for task in case.frozen.tasks:
        step = steps.get((task.pour, task.step))
        if task.pour not in own and task.oven and step is not None and step.wait_min:
            begin = task.end_min if task.oven_start_min is None else task.oven_start_min
            found.setdefault(task.oven, []).append((begin, begin + step.wait_min))
    return found


def _loaded(problem: Problem, loads: dict[str, list[Window]]) -> Problem:
    """Return a problem whose ovens are closed while loads of pours not in it are in them."""
    places = tuple(
        replace(p, closed=(*p.closed, *loads[p.id])) if p.id in loads else p
        for p in problem.places
    )
    return replace(problem, places=places)


def fits(problem: Problem, pour: str, due: bool) -> bool:
    """Return whether a pour of a small problem has a place, in time if it must be `due`."""
    case = Case(problem)
    board = case.empty
    for index in search.in_order(case, list(range(len(case.jobs)))):
        try:
            board = search.place(case, board, index, Prices.of(case).prefer())
        except Blocked:
            return False
    if case.stock.shortage(board) is not None or board.light:
        return False
    return not due or board.placed[job_of(case, pour).index].late == 0


def _named(change: Change, cause: tuple[str, str] | None, asked: _Asked) -> Change:
    """Return a change with what truly binds: a rule found alone, or the other pours."""
    if cause is not None and change.rule != cause[0]:
        return replace(change, rule=cause[0], cause=cause[1])
    if change.rule == "shift" and asked.fits(asked.alone):
        return replace(
            change, rule="person_busy", cause="the people it needs are busy with other work"
        )
    return change


def _shortage(case: Case, job: Job) -> dict[str, tuple[float, str]]:
    """Return what materials lack for the week, or the pour's own need if only dates bind, kg."""
    if not case.problem.check_lots:
        return {}
    need: dict[str, float] = {}
    for other in case.jobs:
        system = other.chemistry.system
        pours = [kg for x in other.lifts for kg in x.divisions[0]]
        mixed = sum(pours) * (1 + system.residue_share) + len(pours) * system.residue_fixed_kg
        for _, material, kg in parts_kg(system, mixed):
            need[material] = need.get(material, 0.0) + kg
    own = job.chemistry.system
    lacking: dict[str, tuple[float, str]] = {}
    for material in materials_of(own):
        if material not in case.stock.scarce:
            continue
        have = sum(c.kg for _, c in case.stock.by_material.get(material, []))
        short = need[material] - have
        if short > 0:
            lacking[material] = (short, "lot_mass")
        else:
            own_kg = sum(kg for x in job.lifts for kg in _parts(job, x.divisions[0], material))
            lacking[material] = (own_kg, "lot_date")
    return lacking


def _parts(job: Job, portions: tuple[float, ...], material: str) -> list[float]:
    system = job.chemistry.system
    mixed = [kg * (1 + system.residue_share) + system.residue_fixed_kg for kg in portions]
    return [kg for mix in mixed for _, one, kg in parts_kg(system, mix) if one == material]
