"""
Why not: the rule that keeps a pour out of the week, and the smallest change that lets it in.

A change is only proposed after the week has been solved again with it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import NamedTuple

from planning.core.plan import Plan, Problem, Unplaced
from planning.core.problem import Pour
from planning.core.solver import search
from planning.core.solver.board import Blocked, Board
from planning.core.solver.candidates import Change, candidates
from planning.core.solver.case import Case
from planning.core.solver.causes import cause_of
from planning.core.solver.jobs import Job
from planning.core.solver.prices import Prices
from planning.core.solver.stock import parts_kg
from planning.core.solver.wording import hours, pour_name, when

EXPLAINED = 6
"""Pours for which a change is looked for; the others get the rule alone."""
SOLVED = 60
"""Changes for which the whole week is solved again before the search gives up on a pour."""


def _never() -> bool:
    return False


def unplaced(
    case: Case, board: Board, expired: Callable[[], bool] = _never
) -> tuple[Unplaced, ...]:
    """Return every pour that is not on the board, with rule, words and change."""
    found: list[Unplaced] = []
    for job in case.jobs:
        if job.index in board.placed:
            continue
        tried = len([u for u in found if u.change]) < EXPLAINED
        if job.trouble:
            rule, words, change = job.trouble
            helps = what_helps(case.problem, job.pour.id, expired=expired) if tried else None
            found.append(Unplaced(job.pour.id, rule, words, helps.words if helps else change))
            continue
        parent = None if job.parent is None else case.jobs[job.parent]
        if parent is not None and parent.index not in board.placed:
            below = pour_name(case.problem, parent.pour.id)
            words = (
                f"{pour_name(case.problem, job.pour.id)} stands on {below}, which is not planned."
            )
            helps = what_helps(case.problem, job.pour.id, expired=expired) if tried else None
            change = helps.words if helps else f"first let {below} through"
            found.append(Unplaced(job.pour.id, "stands_on", words, change))
            continue
        found.append(_explained(case, board, job, tried, expired))
    return tuple(found)


def why_late(
    problem: Problem, plan: Plan, pour: str, expired: Callable[[], bool] = _never
) -> Unplaced | None:
    """
    Return what makes a planned pour late and the smallest change that brings it in on time.

    Parameters
    ----------
    expired : callable
        Ends the search for a change when it says True; the words then say so.

    Returns
    -------
    Unplaced or None
        `rule`, `words` and `change` as for a pour without a place; None when it is not late,
        and what the plan says of it where it has no place.
        The rule is 'several' where it could be in time alone and no single change was found.
    """
    out = next((u for u in plan.unplaced if u.pour == pour), None)
    if out is not None:
        return out
    due = next(p.due_min for p in problem.pours if p.id == pour)
    finish = finish_of(problem, plan, pour)
    if finish <= due:
        return None
    words = (
        f"{pour_name(problem, pour)} is done on {when(problem, finish)}, "
        f"{hours(finish - due)} late"
    )
    if not any(x.pour == pour and x not in problem.frozen.lifts for x in plan.lifts):
        return Unplaced(pour, "frozen", f"{words}: its castings have begun or are promised.")
    found = what_helps(problem, pour, due=True, expired=expired)
    if found is not None:
        return Unplaced(pour, found.rule, f"{words}: {found.cause}.", found.words)
    case = Case(problem)
    own = next(j for j in case.jobs if j.pour.id == pour)
    if not _fits(replace(problem, pours=_with_below(case, own), previous=None), pour, True):
        return Unplaced(
            pour, "cure", f"{words}: its own steps, lifts and cure last longer than there is time."
        )
    ending = OVER if expired() else NONE_HELPS
    return Unplaced(pour, "several", f"{words}: other work has its time. {ending}")


def why_unplaced(
    problem: Problem, unplaced: Unplaced, expired: Callable[[], bool] = _never
) -> Unplaced:
    """
    Return an unplaced pour with the smallest change that lets it through, looked for at leisure.

    While a week is planned there is little time for it, so that some pours have the rule alone.
    """
    if unplaced.change:
        return unplaced
    found = what_helps(problem, unplaced.pour, expired=expired)
    if found is None:
        ending = OVER if expired() else NONE_HELPS
        return replace(unplaced, words=f"{unplaced.words} {ending}")
    name = pour_name(problem, unplaced.pour)
    words = f"{name} has no place: {found.cause}."
    return replace(unplaced, rule=found.rule, words=words, change=found.words)


OVER = "No change was found in the time given to look for one."
NONE_HELPS = "No single change was found that helps without costing another pour its place."


def finish_of(problem: Problem, plan: Plan, pour: str) -> int:
    """Return when a planned pour is done, by its stand or, where it keeps it longer, its steps."""
    asked = next(p for p in problem.pours if p.id == pour)
    if asked.after:
        last = asked.after[-1]
        task = next(t for t in plan.tasks if t.pour == pour and t.step == last.id)
        begin = task.end_min if task.oven_start_min is None else task.oven_start_min
        return begin + last.wait_min
    return next(s.end_min for s in plan.stands if s.pour == pour)


def _explained(
    case: Case, board: Board, job: Job, tried: bool, expired: Callable[[], bool]
) -> Unplaced:
    pour, name = job.pour.id, pour_name(case.problem, job.pour.id)
    try:
        search.place(case, board, job.index, Prices.of(case).taste(), True)
        rule = "horizon"
    except Blocked as blocked:
        rule = blocked.rule
    found = what_helps(case.problem, pour, expired=expired) if tried else None
    if found is None:
        return Unplaced(pour, rule, f"{name} has no place in the planned days: {WORDS[rule]}.")
    return Unplaced(pour, found.rule, f"{name} has no place: {found.cause}.", found.words)


WORDS = {
    "oven": "no oven is free for its wait in time",
    "mixer_busy": "no mixer is free for it",
    "skill": "too few people may do its work",
    "pot_life": "no pot of it can be poured within its pot life",
    "lift_depth": "it cannot be cut into lifts that are shallow enough",
    "shift": "no shift leaves room for its work",
    "horizon": "its work would start after the planned days",
    "place": "no place of its kind stays free as long as it stands",
    "lift_gap": "its lifts cannot follow each other in time",
    "wet_on_wet": "the batch below would gel before the next one is poured",
    "step_order": "its steps cannot follow each other within their longest waits",
    "lot_mass": "there is not enough material",
    "lot_date": "its material is not there, or not in date, when it is poured",
    "stands_on": "what it stands on has no place",
    "batch_mass": "its pot would be lighter than a pot may be",
}


def what_helps(
    problem: Problem, pour: str, due: bool = False, expired: Callable[[], bool] = _never
) -> Change | None:
    """
    Return the first change with which a pour has a place and no other pour loses its own.

    Parameters
    ----------
    due : bool
        The pour must also be done when it is due, and the week as a whole be less late.
    expired : callable
        Ends the search when it says True; None is returned then.
    """
    case = Case(problem)
    own = next(j for j in case.jobs if j.pour.id == pour)
    alone = replace(problem, pours=_with_below(case, own), previous=None)
    if expired():
        return None
    cause = _cause(problem, alone, own.pour, due)
    before = _outcome(problem, pour)
    solved = 0
    changes: Iterator[Change] = (
        change
        for one in alone.pours
        for change in candidates(problem, one, _shortage(case, _job_of(case, one.id)))
    )
    if cause is not None:  # what eases the rule that binds is tried before anything else
        changes = iter(sorted(changes, key=lambda change: change.rule != cause[0]))
    for change in changes:
        if expired() or solved == SOLVED:
            return None
        try:
            if not _fits(replace(change.problem, pours=_pours(change.problem, alone)), pour, due):
                continue
            solved += 1
            after = _outcome(change.problem, pour)
        except ValueError:
            continue
        if not after.planned or after.unplaced > before.unplaced:
            continue
        if due and (after.late > 0 or after.week_late >= before.week_late):
            continue  # in time only at the cost of others, or by luck
        return _named(change, cause, problem, alone, pour, due)
    return None


def _job_of(case: Case, pour: str) -> Job:
    return next(j for j in case.jobs if j.pour.id == pour)


def _cause(problem: Problem, alone: Problem, pour: Pour, due: bool) -> tuple[str, str] | None:
    """Return the rule that keeps a pour out of (or makes it late in) the shop without others."""

    def fits(changed: Problem) -> bool:
        return _fits(replace(changed, pours=_pours(changed, alone)), pour.id, due)

    return cause_of(problem, pour, fits)


def _named(
    change: Change,
    cause: tuple[str, str] | None,
    problem: Problem,
    alone: Problem,
    pour: str,
    due: bool,
) -> Change:
    """Return a change with what truly binds: a rule found alone, or the other pours."""
    if cause is not None and change.rule != cause[0]:
        return replace(change, rule=cause[0], cause=cause[1])
    if change.rule == "shift" and _fits(alone, pour, due):
        return replace(
            change, rule="person_busy", cause="the people it needs are busy with other work"
        )
    return change


def _pours(changed: Problem, alone: Problem) -> tuple:  # type: ignore[type-arg]
    ids = {p.id for p in alone.pours}
    return tuple(p for p in changed.pours if p.id in ids)


def _with_below(case: Case, job: Job) -> tuple:  # type: ignore[type-arg]
    found = [job.pour]
    at = job.parent
    while at is not None:
        found.append(case.jobs[at].pour)
        at = case.jobs[at].parent
    return tuple(found)


def _fits(problem: Problem, pour: str, due: bool) -> bool:
    """Return whether a pour and what it stands on fit into the shop without the others."""
    case = Case(replace(problem, previous=None))
    board = case.empty
    for index in search.in_order(case, list(range(len(case.jobs)))):
        try:
            board = search.place(case, board, index, Prices.of(case).taste())
        except Blocked:
            return False
    own = next(j for j in case.jobs if j.pour.id == pour)
    if case.stock.shortage(board) is not None or board.light:
        return False
    return not due or board.placed[own.index].late == 0


class _Outcome(NamedTuple):
    planned: bool
    unplaced: int
    late: int
    """How late the pour is, weighted min."""
    week_late: int


def _outcome(problem: Problem, pour: str) -> _Outcome:
    """Solve briefly; return how the pour and its week come off."""
    case = Case(problem)
    prices = Prices.of(case)
    meter = search.Meter(2 * len(case.jobs) + 60, _never)
    board = search.start(case, case.empty, prices, meter, 1)
    own = next(j for j in case.jobs if j.pour.id == pour)
    if own.index not in board.placed or board.placed[own.index].late:
        board = search.improve(case, board, prices, meter, problem.limits.seed)
    board = search.without_light(case, board)
    placed = board.placed.get(own.index)
    return _Outcome(
        planned=placed is not None,
        unplaced=len(case.jobs) - len(board.placed),
        late=placed.late if placed else 0,
        week_late=board.late,
    )


def _shortage(case: Case, job: Job) -> dict[str, tuple[float, str]]:
    """Return what materials lack for the week, or the pour's own need if only dates bind, kg."""
    if not case.problem.check_lots:
        return {}
    need: dict[str, float] = {}
    for other in case.jobs:
        system = other.chemistry.system
        pours = [kg for x in other.lifts for kg in x.divisions[0]]
        mixed = sum(pours) * (1 + system.residue_share) + len(pours) * system.residue_fixed_kg
        for material, kg in zip(
            (system.resin, system.hardener), parts_kg(system, mixed), strict=True
        ):
            need[material] = need.get(material, 0.0) + kg
    own = job.chemistry.system
    lacking: dict[str, tuple[float, str]] = {}
    for material in (own.resin, own.hardener):
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
    which = 0 if material == system.resin else 1
    return [
        parts_kg(system, kg * (1 + system.residue_share) + system.residue_fixed_kg)[which]
        for kg in portions
    ]
