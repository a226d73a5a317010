"""Whether a plan still holds: judged again against the shop as it is now. Pure values only."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from zoneinfo import ZoneInfo

from planning.core import plan as core
from planning.core import problem as given
from planning.schedule.board import finish_min
from planning.schedule.wording import day_of, in_words, short

MOST_TOLD = 8
"""So many broken rules and changes are named; the rest are counted."""


@dataclass(frozen=True)
class Look:
    """A plan looked at again. It may be confirmed when `broken` is empty."""

    problem: core.Problem
    """The same question, asked of the shop as it is now."""
    plan: core.Plan
    """The plan, with what has been done since in place of what was planned."""
    broken: tuple[str, ...]
    """Which rules it would break now, in words."""
    changed: tuple[str, ...]
    """What has changed in the shop since the plan was made, in words."""


def look_again(
    was: core.Problem, plan: core.Plan, now_is: core.Problem, from_min: int, zone: ZoneInfo
) -> Look:
    """
    Judge a plan made from `was` against `now_is`, by the independent check.

    Steps signed and batches begun as planned since then are taken as they really were. A pour
    whose own data has changed breaks the plan even where no rule is broken: the planner has seen
    another pour. Hours before `from_min` are over and not compared.
    """
    from planning.core.check import check

    held = with_facts(now_is, plan)
    broken = [in_words(one.words, zone, now_is, was) for one in check(now_is, held)]
    pours = _changed_pours(was, now_is, zone)
    changed = _changed_shop(was, now_is, from_min, zone)
    return Look(now_is, held, (*pours, *broken), tuple(changed))


def placed(plan: core.Plan) -> set[str]:
    """Return the pours a plan casts, in whole or in part."""
    return {lift.pour for lift in plan.lifts}


def with_facts(problem: core.Problem, plan: core.Plan) -> core.Plan:
    """Return a plan with what is frozen as the problem has it, where it is the same work."""
    tasks = {(t.pour, t.kind, t.step, t.lift): t for t in plan.tasks}
    tasks |= {(t.pour, t.kind, t.step, t.lift): t for t in problem.frozen.tasks}
    begun = {batch.id: batch for batch in problem.frozen.batches}
    batches = tuple(
        begun[batch.id] if batch.id in begun and _same_pot(batch, begun[batch.id]) else batch
        for batch in plan.batches
    )
    stood = {stand.pour: stand for stand in problem.frozen.stands}
    stands = tuple(
        replace(stand, start_min=stood[stand.pour].start_min)
        if stand.pour in stood and stood[stand.pour].place == stand.place
        else stand
        for stand in plan.stands
    )
    same = replace(plan, tasks=tuple(tasks.values()), batches=batches, stands=stands)
    return same if same == plan else _counted(problem, same)


def _same_pot(planned: core.Batch, begun: core.Batch) -> bool:
    when = ("mixer", "start_min", "contact_min", "pour_start_min")
    into = [[(p.pour, p.lift) for p in batch.portions] for batch in (planned, begun)]
    return into[0] == into[1] and all(getattr(planned, x) == getattr(begun, x) for x in when)


def _counted(problem: core.Problem, plan: core.Plan) -> core.Plan:
    """Return a plan with the figures its content makes; bounds never above what it reaches."""
    left_out = {one.pour for one in plan.unplaced}
    ends = {}
    for pour in problem.pours:
        if pour.id in left_out or not any(pour.id == lift.pour for lift in plan.lifts):
            continue
        try:
            ends[pour.id] = finish_min(problem, plan, pour.id)
        except ValueError:  # nothing is poured into it: the check says so
            continue
    late = sum(p.weight * max(0, ends[p.id] - p.due_min) for p in problem.pours if p.id in ends)
    residue = sum(b.mixed_kg - sum(p.kg for p in b.portions) for b in plan.batches)
    figures = replace(
        plan.figures,
        lateness=late,
        finish_min=max(ends.values(), default=0),
        residue_kg=residue,
        lateness_bound=min(late, plan.figures.lateness_bound),
    )
    return replace(plan, figures=figures)


def _changed_pours(was: core.Problem, now_is: core.Problem, zone: ZoneInfo) -> Iterator[str]:
    then = {pour.id: pour for pour in was.pours}
    now = {pour.id: pour for pour in now_is.pours}
    done = {task.step for task in now_is.frozen.tasks} | {task.step for task in was.frozen.tasks}
    for key, pour in then.items():
        name = short(pour.name or key)
        if key not in now:
            yield f"{name} is no longer open."
            continue
        other = now[key]
        if pour.due_min != other.due_min:
            days = [day_of(was, at, zone) for at in (other.due_min - 1, pour.due_min - 1)]
            yield f"{name} is due {days[0]} instead of {days[1]}."
        for field, words in POUR_WORDS.items():
            if getattr(pour, field) != getattr(other, field):
                yield f"{name}: {words} changed."
        if _steps(pour, done) != _steps(other, done):
            yield f"{name}: its steps changed."
    for key in now.keys() - then.keys():
        yield f"{short(now[key].name or key)} has been planned since."


POUR_WORDS = {
    "system": "the resin system was",
    "layers": "its size or mass was",
    "weight": "its priority was",
    "place_kind": "the kind of place it needs was",
    "may_share": "whether it may share a pot was",
}


def _steps(pour: given.Pour, done: set[str]) -> list[tuple[object, ...]]:
    open_steps = [step for step in (*pour.before, *pour.after) if step.id not in done]
    return [tuple(getattr(step, f.name) for f in fields(step)) for step in open_steps]


def _changed_shop(
    was: core.Problem, now_is: core.Problem, from_min: int, zone: ZoneInfo
) -> Iterator[str]:
    yield from _changed_people(was, now_is, from_min, zone)
    for kind in ("mixers", "places"):
        then = {one.id: one for one in getattr(was, kind)}
        now = {one.id: one for one in getattr(now_is, kind)}
        for key in then.keys() | now.keys():
            if then.get(key) == now.get(key):
                continue
            name = (now.get(key) or then[key]).name or key
            yield f"{name} is {'out of use' if key not in now else 'new or was changed'}."
    yield from _changed_systems(was, now_is)
    yield from _changed_stock(was, now_is)
    if replace(was.settings, freeze_until_min=0) != replace(now_is.settings, freeze_until_min=0):
        yield "The planning rules were changed."
    begun = {b.id for b in now_is.frozen.batches} - {b.id for b in was.frozen.batches}
    if begun:
        yield f"Begun, printed or pinned since: batch {', '.join(sorted(begun))}."


def _changed_people(
    was: core.Problem, now_is: core.Problem, from_min: int, zone: ZoneInfo
) -> Iterator[str]:
    then = {person.id: person for person in was.people}
    now = {person.id: person for person in now_is.people}
    for key, person in then.items():
        name = person.name or key
        if key not in now:
            yield f"{name} no longer works here."
            continue
        if set(person.skills) != set(now[key].skills):
            yield f"{name} has other skills."
        away = sorted(
            {
                day_of(was, start, zone)
                for start, end in person.shifts
                if _lost(start, end, now[key], from_min)
            }
        )
        if away:
            yield f"{name} is away or works other hours on {', '.join(away)}."


def _lost(start: int, end: int, person: given.Person, from_min: int) -> bool:
    """Whether part of a shift that is not over is gone."""
    start = max(start, from_min)
    inside = [(max(a, start), min(b, end)) for a, b in person.shifts if a < end and b > start]
    return sum(b - a for a, b in inside) < end - start


def _changed_systems(was: core.Problem, now_is: core.Problem) -> Iterator[str]:
    then = {system.id: system for system in was.systems}
    for system in now_is.systems:
        old = then.get(system.id)
        if old is None or old == system:
            continue
        if [c.shop_c for c in old.conditions] != [c.shop_c for c in system.conditions]:
            yield f"Another shop temperature is expected ({system.name or system.id})."
        else:
            yield f"The data of {system.name or system.id} was changed."


def _changed_stock(was: core.Problem, now_is: core.Problem) -> Iterator[str]:
    now = {can.id: (lot, can) for lot in now_is.lots for can in lot.containers}
    for lot in was.lots:
        for can in lot.containers:
            found = now.get(can.id)
            if found is None:
                yield f"Lot {lot.code or lot.id} of {lot.material}: a container is gone or held."
            elif found[1].kg < can.kg - 1e-6:
                yield (
                    f"Lot {lot.code or lot.id} of {lot.material}: {found[1].kg:.3f} kg are left "
                    f"instead of {can.kg:.3f} kg."
                )
            elif found[1].usable_until_min < can.usable_until_min:
                yield f"Lot {lot.code or lot.id} of {lot.material} keeps less long."


def told(rows: tuple[str, ...]) -> str:
    """Join sentences; beyond a few the rest are counted."""
    more = len(rows) - MOST_TOLD
    tail = [f"And {more} more."] if more > 0 else []
    return " ".join([*rows[:MOST_TOLD], *tail])
