"""Why not, and why late: the rule that binds, in words, and the smallest change that helps."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from planning.core.plan import Plan, Problem, Unplaced
from planning.core.solver import search
from planning.core.solver.board import Blocked, Board
from planning.core.solver.case import Case
from planning.core.solver.helping import alone_of, fits, job_of, never, what_helps
from planning.core.solver.job import Job
from planning.core.solver.prices import Prices
from planning.core.solver.wording import hours, pour_name, when

EXPLAINED = 6
"""Pours for which a change is looked for; the others get the rule alone."""


def rules(case: Case, board: Board) -> tuple[Unplaced, ...]:
    """Return every pour that is not on the board with the rule that stops it, in words."""
    found: list[Unplaced] = []
    for job in case.jobs:
        if job.index in board.placed:
            continue
        name = pour_name(case.problem, job.pour.id)
        parent = None if job.parent is None else case.jobs[job.parent]
        if job.trouble:
            found.append(Unplaced(job.pour.id, *job.trouble))
        elif parent is not None and parent.index not in board.placed:
            below = pour_name(case.problem, parent.pour.id)
            words = f"{name} stands on {below}, which is not planned."
            found.append(Unplaced(job.pour.id, "stands_on", words))
        else:
            rule = _stopped_by(case, board, job)
            words = f"{name} has no place in the planned days: {WORDS[rule]}."
            found.append(Unplaced(job.pour.id, rule, words))
    return tuple(found)


def _stopped_by(case: Case, board: Board, job: Job) -> str:
    try:
        search.place(case, board, job.index, Prices.of(case).prefer(), True)
    except Blocked as blocked:
        return blocked.rule
    return "horizon"


def with_changes(
    problem: Problem, plan: Plan, expired: Callable[[], bool] = never
) -> tuple[Unplaced, ...]:
    """Return the pours a plan leaves out, the first of them with a change that was tried."""
    found: list[Unplaced] = []
    left = EXPLAINED
    for one in plan.unplaced:
        told = None
        if left and not expired():
            told = _helped(problem, one, expired, plan)
            left -= told is not None
        found.append(told or one)
    return tuple(found)


def _helped(
    problem: Problem, unplaced: Unplaced, expired: Callable[[], bool], plan: Plan | None
) -> Unplaced | None:
    """Return an unplaced pour with the change that lets it through, None where none was found."""
    found = what_helps(problem, unplaced.pour, expired=expired, plan=plan)
    if found is None:
        return None
    if unplaced.rule == "stands_on":
        words = f"{unplaced.words.rstrip('.')}: {found.cause}."
        return replace(unplaced, words=words, change=found.words)
    if job_of(Case(problem), unplaced.pour).trouble:  # its words already say what it asks for
        return replace(unplaced, change=found.words)
    words = f"{pour_name(problem, unplaced.pour)} has no place: {found.cause}."
    return Unplaced(unplaced.pour, found.rule, words, found.words)


def why_late(
    problem: Problem, plan: Plan, pour: str, expired: Callable[[], bool] = never
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
    found = what_helps(problem, pour, due=True, expired=expired, plan=plan)
    if found is not None:
        return Unplaced(pour, found.rule, f"{words}: {found.cause}.", found.words)
    case = Case(problem)
    if not fits(alone_of(case, job_of(case, pour)), pour, True):
        return Unplaced(
            pour, "cure", f"{words}: its own steps, lifts and cure last longer than there is time."
        )
    ending = OVER if expired() else NONE_HELPS
    return Unplaced(pour, "several", f"{words}: other work has its time. {ending}")


def why_unplaced(
    problem: Problem,
    unplaced: Unplaced,
    expired: Callable[[], bool] = never,
    plan: Plan | None = None,
) -> Unplaced:
    """
    Return an unplaced pour with the smallest change that lets it through, looked for at leisure.

    While a week is planned there is little time for it, so that some pours have the rule alone.

    Parameters
    ----------
    plan : Plan, optional
        The plan that leaves the pour out, from which each change is tried.
    """
    if unplaced.change:
        return unplaced
    told = _helped(problem, unplaced, expired, plan)
    if told is None:
        ending = OVER if expired() else NONE_HELPS
        return replace(unplaced, words=f"{unplaced.words} {ending}")
    return told


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
