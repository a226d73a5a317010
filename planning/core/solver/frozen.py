"""What stays where it is: frozen work, begun work, and what hangs on either."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from planning.core.plan import Batch, Frozen, Plan, Problem, Task
from planning.core.problem import Pour, Step, Window

Fact = str | tuple[object, ...]


def facts_of(problem: Problem) -> set[Fact]:
    """
    Return what stays whatever happens: frozen work, and earlier work before the freeze horizon.

    Batches by their ids, tasks by their keys, lifts as (pour, number), stands as (pour,).
    """
    previous, until = problem.previous, problem.settings.freeze_until_min
    frozen = problem.frozen
    pours = {p.id for p in problem.pours}
    facts: set[Fact] = {b.id for b in frozen.batches}
    facts |= {_task_key(t) for t in frozen.tasks} | {(s.pour,) for s in frozen.stands}
    facts |= {(x.pour, x.lift) for x in frozen.lifts}
    if previous is not None:
        early = [
            b for b in previous.batches
            if b.start_min < until and all(p.pour in pours for p in b.portions)
        ]  # fmt: skip
        facts |= {b.id for b in early}
        facts |= {(p.pour, p.lift) for b in early for p in b.portions}
        facts |= {_task_key(t) for t in previous.tasks if t.start_min < until}
        facts |= {(s.pour,) for s in previous.stands if s.start_min < until}
    return facts


def facts_only(problem: Problem, frozen: Frozen, pours: set[str]) -> Frozen:
    """Return frozen work of which, for some pours, nothing but facts is left."""
    facts = facts_of(problem)
    return Frozen(
        tuple(x for x in frozen.lifts if x.pour not in pours or (x.pour, x.lift) in facts),
        tuple(
            b for b in frozen.batches
            if b.id in facts or not all(p.pour in pours for p in b.portions)
        ),
        tuple(t for t in frozen.tasks if t.pour not in pours or _task_key(t) in facts),
        tuple(s for s in frozen.stands if s.pour not in pours or (s.pour,) in facts),
    )  # fmt: skip


def with_horizon(problem: Problem, let_go: frozenset[str] = frozenset()) -> Frozen:
    """
    Return the frozen work, with what the previous plan starts before the freeze horizon.

    A lift of which one batch is frozen keeps its other batches and the steps before them too,
    unless their people, mixer or oven are gone: then the rest of it is planned anew while the
    batch below is still liquid, or not at all.
    """
    previous, until = problem.previous, problem.settings.freeze_until_min
    if previous is None or until <= 0:
        return problem.frozen
    facts = facts_of(problem)
    gone: set[Fact] = {
        b.id for b in previous.batches if b.start_min >= until and not _holds(problem, b)
    }
    gone |= let_go
    while True:
        frozen = _with_held(problem, previous, gone)
        lost = _lost(problem, frozen, facts) - gone
        if not lost:
            return frozen
        gone |= lost


def _with_held(problem: Problem, previous: Plan, gone: set[Fact]) -> Frozen:
    """Return the frozen work with what is held for its sake, `gone` apart."""
    until = problem.settings.freeze_until_min
    pours = {p.id: p for p in problem.pours}
    batches = {b.id: b for b in problem.frozen.batches}
    held, whole = _held(previous, until, pours, gone)
    batches |= {b.id: b for b in held if b.id not in batches}
    served: dict[str, int] = {}
    for batch in batches.values():
        for portion in batch.portions:
            served[portion.pour] = max(served.get(portion.pour, 0), portion.lift)
    lifts = {(x.pour, x.lift): x for x in problem.frozen.lifts}
    for lift in previous.lifts:
        if lift.pour in pours and lift.lift <= served.get(lift.pour, -1):
            lifts.setdefault((lift.pour, lift.lift), lift)
    tasks = {_task_key(t): t for t in problem.frozen.tasks}
    for task in previous.tasks:
        passed = task.kind != "after" and (task.lift or 0) <= served.get(task.pour, -1)
        stays = task.start_min < until or passed or task.pour in whole
        if task.pour in pours and stays and _task_key(task) not in gone:
            tasks.setdefault(_task_key(task), task)
    begun = {t.pour for t in tasks.values()} | set(served)
    stands = {s.pour: s for s in problem.frozen.stands}
    for stand in previous.stands:
        if stand.pour in begun and stand.start_min < until:
            stands.setdefault(stand.pour, stand)
    return Frozen(
        tuple(lifts[k] for k in sorted(lifts)),
        tuple(batches.values()),
        tuple(tasks.values()),
        tuple(stands.values()),
    )


def _lost(problem: Problem, frozen: Frozen, facts: set[Fact]) -> set[Fact]:
    """
    Return what is held and no fact, and has lost its people or its oven.

    Where fewer people are left than are asked for at once, facts have them first.
    """
    taken: dict[str, list[Window]] = {}
    shifts = {p.id: p.shifts for p in problem.people}
    counts = {p.id: p.count for p in problem.people}
    steps = {(p.id, s.id): s for p in problem.pours for s in (*p.before, *p.after)}
    lost: set[Fact] = set()
    work: list[tuple[bool, int, str, Batch | Task]] = [
        (b.id not in facts, b.start_min, b.id, b) for b in frozen.batches
    ]
    work += [
        (_task_key(t) not in facts, t.start_min, f"{t.pour} {t.kind} {t.step} {t.lift}", t)
        for t in frozen.tasks
    ]
    for loose, start, _, piece in sorted(work, key=lambda one: one[:3]):
        holds = not loose or all(
            any(a <= start and piece.end_min <= b for a, b in shifts.get(person, ()))
            and most_at_once(taken.get(person, []), start, piece.end_min) + n <= counts[person]
            for person, n in Counter(piece.people).items()
        )
        if isinstance(piece, Task) and loose:
            holds = holds and _oven_open(problem, piece, steps.get((piece.pour, piece.step)))
        if holds:
            for person in piece.people:
                taken.setdefault(person, []).append((start, piece.end_min))
        else:
            lost |= set(_with_its_lift(piece, frozen, facts))
    return lost


def _with_its_lift(piece: Batch | Task, frozen: Frozen, facts: set[Fact]) -> Iterator[Fact]:
    """Yield a piece of work and, of a lift it was to be abraded for, the pots."""
    if isinstance(piece, Batch):
        yield piece.id
        return
    yield _task_key(piece)
    if piece.kind == "abrade":
        for batch in frozen.batches:
            if batch.id not in facts and any(
                (p.pour, p.lift) == (piece.pour, piece.lift) for p in batch.portions
            ):
                yield batch.id


def most_at_once(taken: list[Window], start: int, end: int) -> int:
    """Return the most windows that overlap at one minute from `start` to `end`."""
    inside = [(a, b) for a, b in taken if a < end and start < b]
    moments = {start, *(a for a, _ in inside if a > start)}
    return max(sum(a <= at < b for a, b in inside) for at in moments)


def _oven_open(problem: Problem, task: Task, step: Step | None) -> bool:
    """Return whether the oven of a task, if it has one, is still there for its wait."""
    if step is None or not step.oven_cycle:
        return True
    oven = next((p for p in problem.places if p.id == task.oven), None)
    begin = task.end_min if task.oven_start_min is None else task.oven_start_min
    return oven is not None and all(
        begin + step.wait_min <= a or b <= begin for a, b in oven.closed
    )


def _holds(problem: Problem, batch: Batch) -> bool:
    """Return whether a batch still has its mixer, and each of its people a shift for it."""
    shifts = {person.id: person.shifts for person in problem.people}
    mixer = next((m for m in problem.mixers if m.id == batch.mixer), None)
    if mixer is None or any(a < batch.end_min and batch.contact_min < b for a, b in mixer.closed):
        return False
    return all(
        any(a <= batch.start_min and batch.end_min <= b for a, b in shifts.get(person, ()))
        for person in batch.people
    )


def _held(
    previous: Plan, until: int, pours: dict[str, Pour], gone: set[Fact]
) -> tuple[list[Batch], set[str]]:
    """Return the batches that stay, and the pours of which everything stays."""
    held = {b.id for b in previous.batches if b.start_min < until}
    whole: set[str] = set()
    size = -1
    while size != len(held) + len(whole):
        size = len(held) + len(whole)
        top: dict[str, int] = {}
        for batch in previous.batches:
            if batch.id in held:
                for portion in batch.portions:
                    top[portion.pour] = max(top.get(portion.pour, 0), portion.lift)
        for id in [*top, *whole]:
            below = pours[id].stands_on if id in pours else None
            if below is not None:
                whole.add(below)
        for batch in previous.batches:
            if batch.id not in gone and any(
                p.lift <= top.get(p.pour, -1) or p.pour in whole for p in batch.portions
            ):
                held.add(batch.id)
    batches = [
        b for b in previous.batches
        if b.id in held and all(p.pour in pours for p in b.portions)
    ]  # fmt: skip
    return batches, whole


def _task_key(task: Task) -> tuple[str, str, str, int | None]:
    return task.pour, task.kind, task.step, task.lift
