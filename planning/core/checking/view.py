"""A problem and a plan laid side by side, looked up by id; the breaches found are kept here."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from planning.core.plan import Batch, Frozen, Lift, Plan, Portion, Problem, Stand, Task
from planning.core.problem import Condition, Container, Lot, Pour, Step, System, Window

Part = Batch | Lift | Task | Stand

TOLERANCE = 1e-6
"""Kilograms and millimetres closer than this are the same."""

RULES = (
    "pour_missing",
    "lift_depth",
    "lift_mass",
    "batch_mass",
    "batch_clock",
    "pot_life",
    "wet_on_wet",
    "lift_gap",
    "step_order",
    "stands_on",
    "cure",
    "shift",
    "skill",
    "person_busy",
    "mixer_busy",
    "place",
    "oven",
    "attended",
    "earliest",
    "last_pour",
    "sharing",
    "lot_mass",
    "lot_date",
    "horizon",
    "frozen",
    "figures",
)


@dataclass(frozen=True)
class Violation:
    """One breach: the rule's code, the ids it is about and a sentence with the figures."""

    rule: str
    subjects: tuple[str, ...]
    words: str


def same(one: float, other: float) -> bool:
    """Whether two masses or depths agree; never true of NaN."""
    return abs(one - other) <= TOLERANCE


def key_of(part: Part) -> tuple[object, ...]:
    """What makes a piece of work the same piece in two plans."""
    if isinstance(part, Batch):
        return ("batch", part.id)
    if isinstance(part, Lift):
        return ("lift", part.pour, part.lift)
    if isinstance(part, Stand):
        return ("stand", part.pour)
    return ("task", part.pour, part.kind, part.step, part.lift)


def label(part: Part) -> str:
    """Name a piece of work in a sentence."""
    if isinstance(part, Batch):
        return f"batch {part.id}"
    if isinstance(part, Lift):
        return f"lift {part.lift} of pour {part.pour}"
    if isinstance(part, Stand):
        return f"stand of pour {part.pour}"
    if part.kind == "abrade":
        return f"abrading before lift {part.lift} of pour {part.pour}"
    return f"step {part.step} of pour {part.pour}"


def titled(part: Part) -> str:
    """Name a piece of work at the head of a sentence."""
    words = label(part)
    return words[0].upper() + words[1:]


def merged(windows: Iterable[Window]) -> list[Window]:
    """Join windows that overlap or touch, in order."""
    joined: list[Window] = []
    for start, end in sorted(windows):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))
    return joined


def condition_at(system: System, minute: int) -> Condition:
    """Return the clocks of a system in force at a minute; before the first, the first."""
    begun = [c for c in system.conditions if c.from_min <= minute]
    return max(begun, key=lambda c: c.from_min) if begun else system.conditions[0]


def wait_from(step: Step, task: Task) -> int:
    """Return when the wait of a step begins: with the oven load it is part of, if it has one."""
    if step.oven_cycle and task.oven_start_min is not None:
        return task.oven_start_min
    return task.end_min


class View:
    """Everything the rules look up, built in one pass over the plan."""

    def __init__(self, problem: Problem, plan: Plan) -> None:
        self.problem, self.plan = problem, plan
        self.found: list[Violation] = []
        self.pours = {p.id: p for p in problem.pours}
        self.systems = {s.id: s for s in problem.systems}
        self.people = {p.id: p for p in problem.people}
        self.mixers = {m.id: m for m in problem.mixers}
        self.places = {p.id: p for p in problem.places}
        self.containers: dict[tuple[str, str], tuple[Lot, Container]] = {
            (lot.id, can.id): (lot, can) for lot in problem.lots for can in lot.containers
        }
        self.unplaced = {u.pour for u in plan.unplaced}
        self._group_plan()
        self.fixed = {key_of(part): part for part in _fixed_parts(problem)}
        self.planned = [p for p in problem.pours if p.id not in self.unplaced and self.has_work(p)]

    def _group_plan(self) -> None:
        self.lifts_of: dict[str, list[Lift]] = defaultdict(list)
        self.tasks_of: dict[str, list[Task]] = defaultdict(list)
        self.stands_of: dict[str, list[Stand]] = defaultdict(list)
        self.batches_of: dict[str, list[Batch]] = defaultdict(list)
        self.portions_of: dict[tuple[str, int], list[tuple[Portion, Batch]]] = defaultdict(list)
        for lift in sorted(self.plan.lifts, key=lambda lift: lift.lift):
            self.lifts_of[lift.pour].append(lift)
        for task in sorted(self.plan.tasks, key=lambda task: task.start_min):
            self.tasks_of[task.pour].append(task)
        for stand in self.plan.stands:
            self.stands_of[stand.pour].append(stand)
        for batch in self.plan.batches:
            for pour in {portion.pour for portion in batch.portions}:
                self.batches_of[pour].append(batch)
            for portion in batch.portions:
                self.portions_of[portion.pour, portion.lift].append((portion, batch))
        for pairs in self.portions_of.values():
            pairs.sort(key=lambda pair: (pair[0].start_min, pair[0].end_min))

    def has_work(self, pour: Pour) -> bool:
        """Whether the plan holds anything at all for a pour."""
        kinds = (self.lifts_of, self.tasks_of, self.stands_of, self.batches_of)
        return any(kind.get(pour.id) for kind in kinds)

    def is_fixed(self, part: Part) -> bool:
        """Whether a piece of work is frozen as the plan has it, or a stand that follows such."""
        if self.fixed.get(key_of(part)) == part:
            return True
        return isinstance(part, Stand) and self._ends_with_frozen(part)

    def _ends_with_frozen(self, stand: Stand) -> bool:
        """Whether a begun stand lasts as long as frozen work and its clocks make it last."""
        pour = self.pours.get(stand.pour)
        return (
            pour is not None
            and self.begins_fixed(stand)
            and all(map(self.is_fixed, self.tasks_of.get(pour.id, ())))
            and all(map(self.is_fixed, self.batches_of.get(pour.id, ())))
            and stand.end_min == self.done_min(pour)
        )

    def begins_fixed(self, stand: Stand) -> bool:
        """Whether a stand is frozen; its end may follow the work that is not."""
        fixed = self.fixed.get(key_of(stand))
        return isinstance(fixed, Stand) and (
            (fixed.place, fixed.start_min) == (stand.place, stand.start_min)
        )

    def report(
        self, rule: str, subjects: Iterable[str], words: str, parts: Iterable[Part] = ()
    ) -> None:
        """Keep a breach, unless nothing but frozen work takes part in it."""
        parts = list(parts)
        if parts and all(self.is_fixed(part) for part in parts):
            return
        self.found.append(Violation(rule, tuple(dict.fromkeys(subjects)), words))

    def when(self, minute: int) -> str:
        """Write a minute as day and time since the day began, day 1 being the first."""
        starts = self.problem.day_starts
        day, start = minute // 1440, minute // 1440 * 1440
        if starts and minute >= starts[0]:
            day = max(i for i, s in enumerate(starts) if s <= minute)
            start = starts[day]
        return f"day {day + 1} {(minute - start) // 60:02d}:{(minute - start) % 60:02d}"

    def poured(self, pour: str, lift: int) -> tuple[int, int] | None:
        """Return first start and last end of the portions of a lift."""
        pairs = self.portions_of.get((pour, lift))
        if not pairs:
            return None
        return pairs[0][0].start_min, max(portion.end_min for portion, _ in pairs)

    def pot_parts(self, pour: str, lift: int) -> list[Part]:
        """Return the batches that serve a lift."""
        return [batch for _, batch in self.portions_of.get((pour, lift), ())]

    def last_lift(self, pour: Pour) -> int | None:
        lifts = self.lifts_of.get(pour.id)
        return lifts[-1].lift if lifts else None

    def cured_min(self, pour: Pour) -> int | None:
        """Return the minute at which the cure of the last lift has run."""
        last = self.last_lift(pour)
        poured = None if last is None else self.poured(pour.id, last)
        if poured is None:
            return None
        cure = condition_at(self.systems[pour.system], poured[1]).cure_min
        return poured[1] + max(cure, pour.cure_min or 0)

    def steps_with_tasks(self, pour: Pour, kind: str) -> Iterator[tuple[Step, Task | None]]:
        """Pair the steps before or after a pour with their tasks, None where there is none."""
        waiting: dict[str, list[Task]] = defaultdict(list)
        for task in self.tasks_of.get(pour.id, ()):
            if task.kind == kind:
                waiting[task.step].append(task)
        for step in pour.before if kind == "before" else pour.after:
            yield step, waiting[step.id].pop(0) if waiting[step.id] else None

    def done_min(self, pour: Pour) -> int | None:
        """Return the minute a pour is done, None when its last work is not in the plan."""
        if not pour.after:
            return self.cured_min(pour)
        step, task = list(self.steps_with_tasks(pour, "after"))[-1]
        return None if task is None else wait_from(step, task) + step.wait_min


def parts_in(plan: Plan | Frozen) -> list[Part]:
    """Return every piece of work in a plan."""
    return [*plan.lifts, *plan.batches, *plan.tasks, *plan.stands]


def _fixed_parts(problem: Problem) -> Iterator[Part]:
    """Yield what must stay: early work of the previous plan, then the frozen work over it."""
    if problem.previous is not None:
        yield from _early(problem.previous, problem)
    yield from parts_in(problem.frozen)


def _early(previous: Plan, problem: Problem) -> Iterator[Part]:
    limit, asked = problem.settings.freeze_until_min, {p.id for p in problem.pours}
    served = set()
    for batch in previous.batches:
        if batch.start_min < limit and all(p.pour in asked for p in batch.portions):
            served |= {(p.pour, p.lift) for p in batch.portions}
            yield batch
    yield from (lift for lift in previous.lifts if (lift.pour, lift.lift) in served)
    yield from (t for t in previous.tasks if t.start_min < limit and t.pour in asked)
    yield from (s for s in previous.stands if s.start_min < limit and s.pour in asked)


def pour_minutes(kg: float, rate_kg_min: float) -> int | None:
    """Return the whole minutes pouring a portion takes, None for a mass that is no number."""
    if not math.isfinite(kg):
        return None
    return max(1, math.ceil(kg / rate_kg_min - TOLERANCE))
