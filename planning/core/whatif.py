"""
Ask what another week would look like, and how two plans differ; nothing is saved.

The questions are pure functions from a problem to a problem, so they can be combined:
``plan_week(open_day(another_person(problem, "T1"), day=5, like=4))``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from planning.core.plan import Figures, Plan, Problem
from planning.core.solver.changes import (
    another_mixer,
    another_person,
    another_place,
    bigger_mixer,
    longer_day,
    more_material,
    open_day,
    trained_person,
    warmer_shop,
    with_pour,
    with_settings,
    without_person,
)
from planning.core.solver.helping import from_plan
from planning.core.solver.replan import starts_of
from planning.core.solver.wording import hours
from planning.core.week import plan_week, usual_work

__all__ = [
    "AS_IT_IS",
    "NO_CHANGE",
    "Answer",
    "Difference",
    "Shift",
    "another_mixer",
    "another_person",
    "another_place",
    "answers",
    "bigger_mixer",
    "difference",
    "longer_day",
    "more_material",
    "open_day",
    "trained_person",
    "warmer_shop",
    "with_pour",
    "with_settings",
    "without_person",
]


@dataclass(frozen=True)
class Shift:
    """One piece of work in two plans; None where a plan does not have it."""

    pour: str
    step: str
    lift: int | None
    from_min: int | None
    to_min: int | None


@dataclass(frozen=True)
class Difference:
    """What changes from one plan to another."""

    shifts: tuple[Shift, ...]
    unchanged: int
    added: tuple[str, ...]
    """Pours only the second plan has."""
    dropped: tuple[str, ...]
    """Pours only the first plan has."""
    lateness: int
    """Second less first, weighted minutes."""
    pots: int
    residue_kg: float


def difference(first: Plan, second: Plan) -> Difference:
    """Return every piece of work that starts at another time, in order of time."""
    before, after = starts_of(first), starts_of(second)
    shifts = [
        Shift(key.pour, key.step, key.lift, before.get(key), after.get(key))
        for key in sorted({**before, **after}, key=lambda piece: piece.order)
        if before.get(key) != after.get(key)
    ]
    shifts.sort(key=lambda s: (s.from_min if s.from_min is not None else s.to_min or 0, s.pour))
    old, new = {x.pour for x in first.lifts}, {x.pour for x in second.lifts}
    a, b = first.figures, second.figures
    return Difference(
        shifts=tuple(shifts),
        unchanged=sum(before[k] == after.get(k) for k in before),
        added=tuple(sorted(new - old)),
        dropped=tuple(sorted(old - new)),
        lateness=b.lateness - a.lateness,
        pots=b.pots - a.pots,
        residue_kg=round(b.residue_kg - a.residue_kg, 6),
    )


@dataclass(frozen=True)
class Answer:
    """A week as it would be, against the week as it is; less is better in every figure."""

    problem: Problem
    """What was planned, from the plan asked about on; the check judges the answer by it."""
    plan: Plan
    unplaced: int
    """Pours without a place more than as it is; 0 where no change is seen."""
    lateness: int
    """Weighted minutes more than as it is; 0 where no change is seen."""
    pots: int
    words: str
    """The three in words; empty for the week as it is."""


AS_IT_IS = ""
TRIES = 2
NO_CHANGE = "no change seen"


def answers(
    problem: Problem, plan: Plan | None, questions: Mapping[str, Problem], work: int | None = None
) -> dict[str, Answer]:
    """
    Plan a week as it is and as it would be, each from the same plan and with the same effort.

    A search that is given another go finds another plan, so each week is planned twice, with two
    seeds, and the better one counts. By how much the two differ is what a search does by itself;
    of a figure that changes by no more than that, no change is seen.

    Parameters
    ----------
    plan : Plan, optional
        The plan asked about, from which every week begins; moving what it has costs nothing.
    questions : mapping
        Problems by name, as the questions of this module make them.
    work : int, optional
        Insertions for each week; by default what usually fits into the problem's seconds.

    Returns
    -------
    dict of Answer
        By name, the week as it is first, as `AS_IT_IS`.
    """
    each = max(1, (usual_work(problem) if work is None else work) // TRIES)
    as_it_is, found = None, {}
    for name, week in {AS_IT_IS: problem, **questions}.items():
        begun = week if plan is None else from_plan(week, plan)
        tries = []
        for n in range(TRIES):
            limits = replace(begun.limits, seed=begun.limits.seed + n, work=each)
            own = replace(begun, limits=limits)
            tries.append((own, plan_week(own, reasons=False)))
        tries.sort(key=lambda one: _worth(one[0], one[1].figures))
        spread = _apart(tries[0][1].figures, tries[-1][1].figures)
        if as_it_is is None:
            as_it_is = tries[0][1].figures, spread
        found[name] = _answer(*tries[0], as_it_is, spread, name)
    return found


Three = tuple[int, int, int]
"""Unplaced pours, weighted late minutes, pots."""


def _apart(one: Figures, other: Figures) -> Three:
    return (
        one.unplaced - other.unplaced, one.lateness - other.lateness, one.pots - other.pots
    )  # fmt: skip


def _worth(problem: Problem, figures: Figures) -> tuple[float, ...]:
    """Return what a plan is ranked by, the less the better, as the foreman has set it."""
    rate = problem.settings.late_minutes_per_pot
    if rate:
        return figures.unplaced, figures.lateness + rate * figures.pots
    return figures.unplaced, figures.lateness, figures.pots


def _answer(
    problem: Problem, plan: Plan, as_it_is: tuple[Figures, Three], spread: Three, name: str
) -> Answer:
    """Return an answer with what is seen of it beyond what two searches differ by."""
    base, own = as_it_is
    seen = [
        change if abs(change) > max(abs(a), abs(b)) else 0
        for change, a, b in zip(_apart(plan.figures, base), own, spread, strict=True)
    ]
    said = "" if name == AS_IT_IS else (_said(*seen) or NO_CHANGE)
    return Answer(problem, plan, seen[0], seen[1], seen[2], said)


def _said(unplaced: int, lateness: int, pots: int) -> str:
    """Return differences in words, those that are 0 left out."""
    words = []
    if unplaced:
        noun = "pour" if abs(unplaced) == 1 else "pours"
        more = "more" if unplaced > 0 else "fewer"
        words.append(f"{abs(unplaced)} {more} {noun} without a place")
    if lateness:
        more = "more" if lateness > 0 else "less"
        words.append(f"{hours(abs(lateness))} {more} weighted lateness")
    if pots:
        noun = "pot" if abs(pots) == 1 else "pots"
        words.append(f"{abs(pots)} {'more' if pots > 0 else 'fewer'} {noun}")
    return ", ".join(words)
