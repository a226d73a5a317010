"""The what-if questions a foreman asks: every function returns a new problem."""

from __future__ import annotations

from dataclasses import replace

from planning.core.plan import Problem
from planning.core.problem import (
    Condition,
    Container,
    Lot,
    Mixer,
    Opening,
    Person,
    Place,
    Pour,
    Settings,
    System,
    Window,
)
from planning.core.solver.wording import day_of, day_starts


def longer_day(problem: Problem, day: int, minutes: int, people: tuple[str, ...] = ()) -> Problem:
    """Return the problem with the last shift of a day longer, for all or some people."""
    changed = []
    ends: list[Window] = []
    for person in problem.people:
        own = [w for w in person.shifts if day_of(problem, w[0]) == day]
        if own and (not people or person.id in people):
            last = max(own)
            longer = (last[0], last[1] + minutes)
            ends.append(longer)
            shifts = tuple(longer if w == last else w for w in person.shifts)
            person = replace(person, shifts=shifts)
        changed.append(person)
    return replace(problem, people=tuple(changed), staffed=staffed_with(problem, ends))


def another_person(problem: Problem, like: str) -> Problem:
    """Return the problem with one more person of the shifts and skills of one who is there."""
    return replace(
        problem,
        people=tuple(replace(p, count=p.count + 1) if p.id == like else p for p in problem.people),
    )


def trained_person(problem: Problem, id: str, skill: str) -> Problem:
    """Return the problem with one more skill for a person."""
    return replace(
        problem,
        people=tuple(
            replace(p, skills=(*p.skills, skill)) if p.id == id else p for p in problem.people
        ),
    )


def without_person(problem: Problem, id: str, start: int, end: int) -> Problem:
    """Return the problem with one of a person's count away from `start` to `end`."""
    people: list[Person] = []
    for person in problem.people:
        if person.id != id:
            people.append(person)
            continue
        shifts: list[Window] = []
        for a, b in person.shifts:
            shifts += [w for w in ((a, min(b, start)), (max(a, end), b)) if w[1] > w[0]]
        if person.count > 1:
            people.append(replace(person, count=person.count - 1))
            people.append(replace(person, id=f"{id}~", count=1, shifts=tuple(shifts)))
        else:
            people.append(replace(person, shifts=tuple(shifts)))
    return replace(problem, people=tuple(people))


def bigger_mixer(problem: Problem, id: str, largest_kg: float) -> Problem:
    """Return the problem with a mixer that holds more."""
    mixers = tuple(replace(m, largest_kg=largest_kg) if m.id == id else m for m in problem.mixers)
    return replace(problem, mixers=mixers)


def another_mixer(problem: Problem, like: str) -> Problem:
    """Return the problem with one more mixer of a kind that is there."""
    mixers: tuple[Mixer, ...] = tuple(
        replace(m, count=m.count + 1) if m.id == like else m for m in problem.mixers
    )
    return replace(problem, mixers=mixers)


def another_place(problem: Problem, kind: str) -> Problem:
    """Return the problem with room for one more pour in a place of a kind."""
    done = False
    places = []
    for place in problem.places:
        if place.kind == kind and not done:
            place, done = replace(place, capacity=place.capacity + 1), True
        places.append(place)
    return replace(problem, places=tuple(places))


def another_oven(problem: Problem) -> Problem:
    """Return the problem with one more oven like the first, open all the time."""
    own = next((p for p in problem.places if p.kind == "oven"), Place("another oven", "oven"))
    more = replace(own, id=f"{own.id}+1", closed=())
    return replace(problem, places=(*problem.places, more))


def open_day(problem: Problem, day: int, like: int) -> Problem:
    """
    Return the problem with a day worked as another day is (a Saturday as a Friday).

    Of a day that has begun, only what is left of those hours.
    """
    starts = day_starts(problem)
    shift = starts[day] - starts[like]

    def moved(windows: tuple[Window, ...]) -> list[Window]:
        there = (w for w in windows if day_of(problem, w[0]) == like)
        spans = ((max(a + shift, problem.over_until_min), b + shift) for a, b in there)
        return [(a, b) for a, b in spans if a < b]

    people: list[Person] = []
    added: list[Window] = []
    for person in problem.people:
        own = moved(person.shifts)
        added += own
        people.append(replace(person, shifts=tuple(sorted((*person.shifts, *own)))))
    more = moved(problem.staffed)
    return replace(problem, people=tuple(people), staffed=staffed_with(problem, [*added, *more]))


def warmer_shop(problem: Problem, share: float) -> Problem:
    """
    Return the problem with every clock of every system at `share` of its time.

    A share below 1 is a warmer shop: pot life, gel, gaps, attendance and cure all shorten. How
    much a degree does is for the caller to say (from the system's own data).
    """

    def scaled(c: Condition) -> Condition:
        return replace(
            c,
            pot_life_min=max(1, int(c.pot_life_min * share)),
            gel_limit_min=max(1, int(c.gel_limit_min * share)),
            gap_least_min=-int(-c.gap_least_min * share // 1),
            gap_greatest_min=int(c.gap_greatest_min * share),
            attend_min=-int(-c.attend_min * share // 1),
            cure_min=max(1, -int(-c.cure_min * share // 1)),
        )

    def sooner(one: Opening) -> Opening:
        return replace(
            one,
            least_min=-int(-one.least_min * share // 1),
            greatest_min=int(one.greatest_min * share),
        )

    systems: tuple[System, ...] = tuple(
        replace(s, conditions=tuple(scaled(c) for c in s.conditions)) for s in problem.systems
    )
    pours = tuple(replace(p, openings=tuple(map(sooner, p.openings))) for p in problem.pours)
    return replace(problem, systems=systems, pours=pours)


def more_material(problem: Problem, material: str, kg: float, by_min: int = 0) -> Problem:
    """Return the problem with one more sealed container of a material, good past the horizon."""
    container = Container("more", kg, problem.horizon_min * 2 + 10**6, available_from_min=by_min)
    lot = Lot(f"more {material}", material, (container,))
    return replace(problem, lots=(*problem.lots, lot))


def with_settings(problem: Problem, **values: object) -> Problem:
    """Return the problem with other settings."""
    settings: Settings = replace(problem.settings, **values)  # type: ignore[arg-type]
    return replace(problem, settings=settings)


def with_pour(problem: Problem, id: str, **values: object) -> Problem:
    """Return the problem with one pour changed."""
    pours: tuple[Pour, ...] = tuple(
        replace(p, **values) if p.id == id else p  # type: ignore[arg-type]
        for p in problem.pours
    )
    return replace(problem, pours=pours)


def staffed_with(problem: Problem, more: list[Window]) -> tuple[Window, ...]:
    """Return when the shop is staffed, with further windows where that is written down."""
    return tuple(sorted((*problem.staffed, *more))) if problem.staffed else ()
