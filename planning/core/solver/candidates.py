"""Small changes to a problem, each in words, smallest first: what might let a pour through."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from planning.core.batches import mixers_for
from planning.core.plan import Problem
from planning.core.problem import Mixer, Place, Pour, System, Window
from planning.core.solver.changes import (
    another_oven,
    another_person,
    another_place,
    bigger_mixer,
    longer_day,
    more_material,
    open_day,
    staffed_with,
    trained_person,
    warmer_shop,
    with_pour,
    with_settings,
)
from planning.core.solver.wording import (
    day_name,
    day_of,
    hours,
    joined,
    kilograms,
    material_name,
    when,
)

NEW_MIXER_KG = 10.0
"""Size of the mixer that is tried where there is none."""


@dataclass(frozen=True)
class Change:
    """A changed problem, the rule it eases, and both in words."""

    rule: str
    cause: str
    """What stands in the way today."""
    words: str
    """The change."""
    problem: Problem


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
    if len(shortage) > 1:
        yield from _materials(problem, shortage)
    for material, (kg, rule) in shortage.items():
        amount = float(kilograms(kg).split()[0])
        have = any(lot.material == material and lot.containers for lot in problem.lots)
        name = material_name(problem, material)
        short = f"{name} is short by {kilograms(kg)}"
        if rule == "lot_date":
            short = f"no {name} is there and in date when it is poured"
        for by in _mornings(problem):
            yield Change(
                rule,
                short if have else f"there is no {name}",
                f"{kilograms(kg)} more of {name} by {when(problem, by)}",
                more_material(problem, material, amount, by),
            )
    yield from _rules(problem, pour)
    yield from _hours(problem, pour)
    yield from _people(problem, pour, system)
    yield from _mixers(problem, system)
    yield from _rooms(problem, pour)
    yield from _chemistry(problem, pour, system)
    yield from _days(problem)


def _mornings(problem: Problem) -> list[int]:
    """Return when work begins on each day, the last day first: the latest that helps is asked."""
    begins: dict[int, int] = {}
    for person in problem.people:
        for start, _ in person.shifts:
            if start < problem.horizon_min:
                day = day_of(problem, start)
                begins[day] = min(start, begins.get(day, start))
    return [*sorted(begins.values(), reverse=True), 0]


def _materials(problem: Problem, shortage: dict[str, tuple[float, str]]) -> Iterator[Change]:
    """Yield the same for all materials that lack, together."""
    names = {m: material_name(problem, m) for m in shortage}
    words = [f"{kilograms(kg)} more of {names[m]}" for m, (kg, _) in shortage.items()]
    have = {lot.material for lot in problem.lots if lot.containers}
    none = [names[m] for m in shortage if m not in have]
    cause = f"there is no {joined(none)}" if none else f"{joined(names.values())} are short"
    rule = next(iter(shortage.values()))[1]
    for by in _mornings(problem):
        changed = problem
        for material, (kg, _) in shortage.items():
            changed = more_material(changed, material, float(kilograms(kg).split()[0]), by)
        yield Change(rule, cause, f"{joined(words)} by {when(problem, by)}", changed)


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
    name = pour.name or pour.id
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
                f"a step of {name} may wait {hours(longest)} at most",
                f"let the steps of {name} wait {hours(more)} longer, or coat afresh",
                with_pour(problem, pour.id, before=before),
            )
    for by in _mornings(problem):
        if by < pour.earliest_min:
            yield Change(
                "earliest",
                f"{name} may not be begun before {when(problem, pour.earliest_min)}",
                f"let {name} be begun on {when(problem, by)}",
                with_pour(problem, pour.id, earliest_min=by),
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
    own = mixers_for(problem, system)
    if not own:
        yield from _no_mixer(problem, system)
    for mixer in own:
        yield Change(
            "mixer_busy",
            f"the mixers for {system.name or system.id} are busy or closed",
            f"a second mixer {mixer.name or mixer.id}",
            replace(
                problem,
                mixers=(*problem.mixers, replace(mixer, id=f"{mixer.id}+1", count=1, closed=())),
            ),
        )
    for mixer in own:
        for factor in (1.25, 1.5, 2.0):
            size = mixer.largest_kg * factor
            holds = min(mixer.largest_kg, system.vessel_kg)
            yield Change(
                "batch_mass",
                f"a pot of {system.name or system.id} in {mixer.name or mixer.id} holds "
                f"{holds:g} kg",
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
                f"a pot of {system.name or system.id} is at least "
                f"{max(mixer.least_kg, system.least_batch_kg):g} kg",
                f"a small pot for {system.name or system.id} that can be weighed honestly",
                replace(
                    problem,
                    mixers=tuple(replace(m, least_kg=0.0) for m in problem.mixers),
                    systems=tuple(replace(s, least_batch_kg=0.0) for s in problem.systems),
                ),
            )


def _no_mixer(problem: Problem, system: System) -> Iterator[Change]:
    """Yield what gives a system a mixer where none may be used for it."""
    name = system.name or system.id
    cause = f"no mixer may be used for {name}" if problem.mixers else "there is no mixer"
    for mixer in problem.mixers:
        mixers = tuple(
            replace(m, systems=(*m.systems, system.id)) if m is mixer else m
            for m in problem.mixers
        )
        yield Change(
            "mixer_busy",
            cause,
            f"let {mixer.name or mixer.id} be used for {name}",
            replace(problem, mixers=mixers),
        )
    size = min(system.vessel_kg, NEW_MIXER_KG)
    yield Change(
        "mixer_busy",
        cause,
        f"a mixer of {size:g} kg for {name}",
        replace(problem, mixers=(*problem.mixers, Mixer("another mixer", size))),
    )


def _rooms(problem: Problem, pour: Pour) -> Iterator[Change]:
    if any(p.kind == "oven" for p in problem.places):
        yield Change(
            "oven",
            "every oven it could use is closed or runs another load",
            "a second oven",
            another_oven(problem),
        )
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
    if pour.deepest_lift_mm is not None and deepest > pour.deepest_lift_mm:
        yield Change(
            "lift_depth",
            f"a lift of {pour.name or pour.id} may be {pour.deepest_lift_mm:g} mm deep",
            f"let the lifts of {pour.name or pour.id} be {deepest:g} mm deep, or cut its layers "
            "thinner",
            with_pour(problem, pour.id, deepest_lift_mm=deepest),
        )
    if deepest > system.deepest_lift_mm:
        yield Change(
            "lift_depth",
            f"a lift of {system.name or system.id} may be {system.deepest_lift_mm:g} mm deep",
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
            f"{system.name or system.id} does not stay pourable long enough",
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
            opened = open_day(problem, day, like)
            if opened == problem:
                continue  # the day is over
            yield Change(
                "shift",
                "the days worked are too few",
                f"work on {day_name(problem, day)} as on {day_name(problem, like)}",
                opened,
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
            staffed=staffed_with(problem, [w for w in more if w[0] >= problem.horizon_min]),
        ),
    )  # fmt: skip
