"""
Small changes to a problem, each in words, smallest first: what might let a pour through.

Also the what-if questions a foreman asks; every function returns a new problem.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from planning.core.plan import Problem
from planning.core.problem import (
    Condition,
    Container,
    Lot,
    Mixer,
    Person,
    Place,
    Pour,
    Settings,
    System,
    Window,
)
from planning.core.solver.wording import day_name, day_of, day_starts, hours, kilograms, when


@dataclass(frozen=True)
class Change:
    """A changed problem, the rule it eases, and both in words."""

    rule: str
    cause: str
    """What stands in the way today."""
    words: str
    """The change."""
    problem: Problem


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
    return replace(problem, people=tuple(changed), staffed=_staffed(problem, ends))


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


def open_day(problem: Problem, day: int, like: int) -> Problem:
    """Return the problem with a day worked as another day is (a Saturday as a Friday)."""
    starts = day_starts(problem)
    shift = starts[day] - starts[like]
    people: list[Person] = []
    added: list[Window] = []
    for person in problem.people:
        own = tuple((a + shift, b + shift) for a, b in person.shifts if day_of(problem, a) == like)
        added += own
        people.append(replace(person, shifts=tuple(sorted((*person.shifts, *own)))))
    more = [(a + shift, b + shift) for a, b in problem.staffed if day_of(problem, a) == like]
    return replace(problem, people=tuple(people), staffed=_staffed(problem, [*added, *more]))


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

    systems: tuple[System, ...] = tuple(
        replace(s, conditions=tuple(scaled(c) for c in s.conditions)) for s in problem.systems
    )
    return replace(problem, systems=systems)


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


def _staffed(problem: Problem, more: list[Window]) -> tuple[Window, ...]:
    """Return when the shop is staffed, with further windows where that is written down."""
    return tuple(sorted((*problem.staffed, *more))) if problem.staffed else ()


def candidates(
    problem: Problem, pour: Pour, shortage: dict[str, tuple[float, str]]
) -> Iterator[Change]:
    """
    Yield changes that could let a pour through, smallest first.

    Parameters
    ----------
    shortage : dict
        What each material lacks, kg, and the rule that binds; empty where none does.
    """
    system = next(s for s in problem.systems if s.id == pour.system)
    for material, (kg, rule) in shortage.items():
        amount = float(kilograms(kg).split()[0])
        have = any(lot.material == material and lot.containers for lot in problem.lots)
        short = f"{material} is short by {kilograms(kg)}"
        if rule == "lot_date":
            short = f"no {material} is there and in date when it is poured"
        yield Change(
            rule,
            short if have else f"there is no {material}",
            f"{kilograms(kg)} more of {material} by {when(problem, max(0, pour.earliest_min))}",
            more_material(problem, material, amount),
        )
    yield from _rules(problem, pour)
    yield from _hours(problem, pour)
    yield from _people(problem, pour, system)
    yield from _mixers(problem, system)
    yield from _rooms(problem, pour)
    yield from _chemistry(problem, pour, system)
    yield from _days(problem)


def _rules(problem: Problem, pour: Pour) -> Iterator[Change]:
    """Yield foreman's rules that could be eased."""
    settings = problem.settings
    if settings.last_pour_clock_min is not None:
        for more in (60, 120, 240):
            later = settings.last_pour_clock_min + more
            yield Change(
                "last_pour",
                f"no pour starts after {settings.last_pour_clock_min // 60:02d}:"
                f"{settings.last_pour_clock_min % 60:02d}",
                f"allow pours until {later // 60:02d}:{later % 60:02d}",
                with_settings(problem, last_pour_clock_min=later),
            )
    if settings.coat_to_pour_most_min is not None:
        for more in (60, 240, 1440, 4320):
            wait = settings.coat_to_pour_most_min + more
            yield Change(
                "step_order",
                f"the pour must start within {hours(settings.coat_to_pour_most_min)} of the last "
                "step before it",
                f"allow {hours(wait)} between the last step and the pour",
                with_settings(problem, coat_to_pour_most_min=wait),
            )
    longest = max((s.longest_wait_min or 0 for s in pour.before), default=0)
    if longest:
        for more in (60, 240, 1440, 4320):
            before = tuple(
                replace(s, longest_wait_min=s.longest_wait_min + more)
                if s.longest_wait_min is not None else s
                for s in pour.before
            )  # fmt: skip
            yield Change(
                "step_order",
                f"a step of {pour.id} may wait {hours(longest)} at most",
                f"let the steps of {pour.id} wait {hours(more)} longer, or coat afresh",
                with_pour(problem, pour.id, before=before),
            )
    if settings.overdue_lift == "forbid":
        yield Change(
            "lift_gap",
            "a lift cannot follow within its greatest gap, and overdue lifts are forbidden",
            "allow an overdue lift to be abraded and cleaned",
            with_settings(problem, overdue_lift="abrade"),
        )


def _hours(problem: Problem, pour: Pour) -> Iterator[Change]:
    """Yield longer days: staffed only first, then longer shifts."""
    days = sorted({day_of(problem, a) for p in problem.people for a, _ in p.shifts})
    staffed = problem.staffed or tuple(w for p in problem.people for w in p.shifts)
    for minutes in (60, 120, 240):
        for day in days:
            ends = [b for a, b in staffed if day_of(problem, a) == day]
            if not ends:
                continue
            window = (max(ends), max(ends) + minutes)
            yield Change(
                "attended",
                "a lift would peak when nobody is in the shop",
                f"somebody to watch for {hours(minutes)} more on {day_name(problem, day)}",
                replace(problem, staffed=tuple(sorted((*_merged(staffed), window)))),
            )
        for day in days:
            yield Change(
                "shift",
                "no shift is long enough for its work",
                f"{hours(minutes)} more on {day_name(problem, day)}",
                longer_day(problem, day, minutes),
            )


def _merged(windows: tuple[Window, ...]) -> list[Window]:
    merged: list[Window] = []
    for a, b in sorted(windows):
        if merged and a <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(b, merged[-1][1]))
        else:
            merged.append((a, b))
    return merged


def _people(problem: Problem, pour: Pour, system: System) -> Iterator[Change]:
    asked = {system.skill} | {s.skill for s in (*pour.before, *pour.after)}
    for skill in sorted(asked - {""}):
        for person in problem.people:
            if skill not in person.skills:
                yield Change(
                    "skill",
                    f"too few people may do {skill!r}",
                    f"{person.name or person.id} trained for {skill!r}",
                    trained_person(problem, person.id, skill),
                )
    for person in problem.people:
        yield Change(
            "person_busy",
            "people with the skill are busy or too few",
            f"another person like {person.name or person.id}",
            another_person(problem, person.id),
        )


def _mixers(problem: Problem, system: System) -> Iterator[Change]:
    own = [m for m in problem.mixers if not m.systems or system.id in m.systems]
    for mixer in own:
        yield Change(
            "mixer_busy",
            f"the mixers for {system.id} are busy or closed",
            f"a second mixer {mixer.name or mixer.id}",
            replace(
                problem,
                mixers=(*problem.mixers, replace(mixer, id=f"{mixer.id}+1", count=1, closed=())),
            ),
        )
    for mixer in own:
        for factor in (1.25, 1.5, 2.0):
            size = mixer.largest_kg * factor
            yield Change(
                "batch_mass",
                f"{mixer.name or mixer.id} holds {mixer.largest_kg:g} kg",
                f"a mixer and vessel of {size:g} kg in place of {mixer.name or mixer.id}",
                replace(
                    bigger_mixer(problem, mixer.id, size),
                    systems=tuple(
                        replace(s, vessel_kg=max(s.vessel_kg, size)) if s.id == system.id else s
                        for s in problem.systems
                    ),
                ),
            )
        if mixer.least_kg > 0 or system.least_batch_kg > 0:
            yield Change(
                "batch_mass",
                f"a pot of {system.id} is at least "
                f"{max(mixer.least_kg, system.least_batch_kg):g} kg",
                f"a small pot for {system.id} that can be weighed honestly",
                replace(
                    problem,
                    mixers=tuple(replace(m, least_kg=0.0) for m in problem.mixers),
                    systems=tuple(replace(s, least_batch_kg=0.0) for s in problem.systems),
                ),
            )


def _rooms(problem: Problem, pour: Pour) -> Iterator[Change]:
    for kind, rule in ((pour.place_kind, "place"), ("oven", "oven")):
        if any(p.kind == kind for p in problem.places):
            yield Change(
                rule,
                f"every place of kind {kind!r} is taken or closed",
                f"room for one more pour of kind {kind!r}",
                another_place(problem, kind),
            )
            yield Change(
                rule,
                f"the places of kind {kind!r} are closed",
                f"a place of kind {kind!r} that stays open",
                replace(
                    problem,
                    places=tuple(
                        replace(p, closed=()) if p.kind == kind else p for p in problem.places
                    ),
                ),
            )


def _chemistry(problem: Problem, pour: Pour, system: System) -> Iterator[Change]:
    """Yield another system or a cooler shop."""
    if not any(p.kind == "oven" for p in problem.places):
        yield Change(
            "oven",
            "a step waits in an oven, and the shop has none",
            "an oven for one tool",
            replace(problem, places=(*problem.places, Place("another oven", "oven"))),
        )
    if not any(p.kind == pour.place_kind for p in problem.places):
        yield Change(
            "place",
            f"the shop has no place of kind {pour.place_kind!r}",
            f"a place of kind {pour.place_kind!r}",
            replace(problem, places=(*problem.places, Place("another", pour.place_kind))),
        )
    deepest = max(layer.depth_mm for layer in pour.layers)
    if deepest > system.deepest_lift_mm:
        yield Change(
            "lift_depth",
            f"a lift of {system.id} may be {system.deepest_lift_mm:g} mm deep",
            f"a system whose lifts may be {deepest:g} mm deep",
            replace(
                problem,
                systems=tuple(
                    replace(s, deepest_lift_mm=deepest) if s.id == system.id else s
                    for s in problem.systems
                ),
            ),
        )
    for share in (1.25, 1.5, 2.0, 3.0):
        yield Change(
            "pot_life",
            f"{system.id} does not stay pourable long enough",
            f"a slower system, or a shop so cool that its clocks run {share:g} times as long",
            warmer_shop(problem, share),
        )


def _days(problem: Problem) -> Iterator[Change]:
    worked = sorted({day_of(problem, a) for p in problem.people for a, _ in p.shifts})
    if not worked:
        return
    for day in range(day_of(problem, problem.horizon_min - 1) + 1):
        if day not in worked:
            like = max((d for d in worked if d < day), default=worked[0])
            yield Change(
                "shift",
                "the days worked are too few",
                f"work on {day_name(problem, day)} as on {day_name(problem, like)}",
                open_day(problem, day, like),
            )
    longer = 7 * 1440
    people = tuple(
        replace(p, shifts=tuple(sorted(
            {*p.shifts, *((a + longer, b + longer) for a, b in p.shifts
                          if a + longer >= problem.horizon_min)}
        )))
        for p in problem.people
    )  # fmt: skip
    more = [(a + longer, b + longer) for a, b in problem.staffed]
    yield Change(
        "horizon",
        "it cannot be done before the planned days end",
        "plan it into the week after",
        replace(
            problem,
            people=people,
            horizon_min=problem.horizon_min + longer,
            day_starts=(
                (*problem.day_starts, *(d + longer for d in problem.day_starts[-7:]))
                if problem.day_starts else ()
            ),
            staffed=_staffed(problem, [w for w in more if w[0] >= problem.horizon_min]),
        ),
    )  # fmt: skip
