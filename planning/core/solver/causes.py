"""What binds a pour: one rule after another is lifted whole, the most particular first."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from planning.core.plan import Problem
from planning.core.problem import Pour, Settings, System
from planning.core.solver.changes import another_oven, with_pour, with_settings
from planning.core.solver.wording import when

ENDLESS = 10**6
MANY = 9
"""More of what is taken to bind, as if there were no end of it."""
MATERIAL = "material"
"""Stands for the rules on lots; which of them binds is told by what is short."""


def eased(problem: Problem, pour: Pour) -> Iterator[tuple[str, str, Problem]]:
    """Yield (rule, what it says in words, the problem without it)."""
    settings, system = problem.settings, _system(problem, pour)
    name, own = pour.name or pour.id, system.name or system.id
    if settings.last_pour_clock_min is not None:
        clock = f"{settings.last_pour_clock_min // 60:02d}:{settings.last_pour_clock_min % 60:02d}"
        free = with_settings(problem, last_pour_clock_min=None)
        yield "last_pour", f"no pour starts after {clock}", free
    yield (
        "step_order",
        f"a step of {name} may not wait as long as it would have to",
        _without_waits(problem),
    )
    if problem.staffed or any(c.attend_min for c in system.conditions):
        watched = replace(problem, staffed=((0, ENDLESS),))
        yield "attended", "a lift would peak when nobody is in the shop", watched
    if any(s.oven_cycle for s in (*pour.before, *pour.after)):
        yield (
            "oven",
            "every oven it could use is closed or runs another load",
            another_oven(_opened(problem, "oven")),
        )
    kind = pour.place_kind
    yield "place", f"every place of kind {kind!r} is taken or closed", _opened(problem, kind)
    yield (
        "wet_on_wet",
        f"a batch of {own} gels before the next one of its lift can be poured",
        _clocks(problem, gel_limit_min=ENDLESS),
    )
    mixers = tuple(replace(m, closed=(), count=m.count + MANY) for m in problem.mixers)
    yield (
        "mixer_busy",
        f"the mixers for {own} are busy or closed",
        replace(problem, mixers=mixers),
    )
    yield (
        "lift_gap",
        "a lift cannot follow the one below in its recoat window",
        _always_bonding(with_settings(problem, overdue_lift="abrade")),
    )
    if problem.check_lots:
        yield (
            MATERIAL,
            f"the material of {name} is not there, or not in date, when it is needed",
            replace(problem, check_lots=False),
        )

    if pour.earliest_min > 0:
        yield (
            "earliest",
            f"{name} may not be begun before {when(problem, pour.earliest_min)}",
            with_pour(problem, pour.id, earliest_min=0),
        )


def _system(problem: Problem, pour: Pour) -> System:
    return next(s for s in problem.systems if s.id == pour.system)


def _without_waits(problem: Problem) -> Problem:
    settings: Settings = replace(problem.settings, coat_to_pour_most_min=None)
    pours = tuple(
        replace(
            p,
            before=tuple(replace(s, longest_wait_min=None) for s in p.before),
            after=tuple(replace(s, longest_wait_min=None) for s in p.after),
        )
        for p in problem.pours
    )
    return replace(problem, settings=settings, pours=pours)


def _opened(problem: Problem, kind: str) -> Problem:
    places = tuple(
        replace(p, closed=(), capacity=p.capacity + MANY) if p.kind == kind else p
        for p in problem.places
    )
    return replace(problem, places=places)


def _always_bonding(problem: Problem) -> Problem:
    pours = tuple(
        replace(p, openings=tuple(replace(one, greatest_min=ENDLESS) for one in p.openings))
        for p in problem.pours
    )
    return replace(_clocks(problem, gap_greatest_min=ENDLESS), pours=pours)


def _clocks(problem: Problem, **clocks: int) -> Problem:
    systems = tuple(
        replace(
            s,
            conditions=tuple(replace(c, **clocks) for c in s.conditions),
        )
        for s in problem.systems
    )
    return replace(problem, systems=systems)


def cause_of(
    problem: Problem, pour: Pour, fits: Callable[[Problem], bool]
) -> tuple[str, str] | None:
    """
    Return (rule, words) of the first rule without which a pour fits into the shop alone.

    None where it fits as it is, so that other pours have its time, or where several rules bind.
    """
    if fits(problem):
        return None
    for rule, words, free in eased(problem, pour):
        if fits(free):
            return rule, words
    return None
