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
from planning.core.solver.replan import starts_of
from planning.core.week import plan_week

__all__ = [
    "Difference",
    "Shift",
    "another_mixer",
    "another_person",
    "another_place",
    "bigger_mixer",
    "difference",
    "longer_day",
    "more_material",
    "open_day",
    "side_by_side",
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


def side_by_side(
    problem: Problem, questions: Mapping[str, Problem], work: int | None = None
) -> dict[str, Figures]:
    """
    Plan several weeks the same way and return their figures, the problem itself as ''.

    Parameters
    ----------
    work : int, optional
        Insertions for each; by default what the problem's limits say.
    """
    limits = problem.limits if work is None else replace(problem.limits, work=work)
    weeks = {"": problem, **questions}
    return {name: plan_week(replace(week, limits=limits)).figures for name, week in weeks.items()}
