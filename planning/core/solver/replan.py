"""Say what moved from the previous plan to the new one, and why."""

from __future__ import annotations

from planning.core.plan import Move, Plan
from planning.core.solver.case import Case


def moves(case: Case, plan: Plan) -> tuple[Move, ...]:
    """Return every portion and task of the previous plan that moved, each with its reason."""
    previous = case.problem.previous
    if previous is None:
        return ()
    wanted = {p.id for p in case.problem.pours}
    unplaced = {u.pour: u.words for u in plan.unplaced}
    before, after = starts_of(previous), starts_of(plan)
    first: dict[str, int] = {}
    for key, start in sorted(before.items()):
        if after.get(key) != start:
            first[key[0]] = min(start, first.get(key[0], start))
    found = []
    for key, start in sorted(before.items(), key=lambda x: (x[1], x[0])):
        pour, what = key
        now = after.get(key)
        if pour not in wanted or now == start:
            continue
        if pour in unplaced:
            reason = unplaced[pour]
        elif pour in case.came_off:
            reason = f"{case.came_off[pour]}."
        else:
            reason = _why_moved(previous, plan, pour, start, first[pour])
        found.append(Move(f"{pour} {what}", start, now, reason[0].upper() + reason[1:]))
    return tuple(found)


def starts_of(plan: Plan) -> dict[tuple[str, str], int]:
    """Return the start of each task, and of pouring each lift."""
    starts: dict[tuple[str, str], int] = {}
    for task in plan.tasks:
        name = task.step or f"abrade before lift {(task.lift or 0) + 1}"
        starts[task.pour, name] = task.start_min
    for batch in plan.batches:
        for p in batch.portions:
            key = (p.pour, f"lift {p.lift + 1}")
            starts[key] = min(p.start_min, starts.get(key, p.start_min))
    return starts


def _why_moved(previous: Plan, plan: Plan, pour: str, start: int, first: int) -> str:
    """Say what has taken the time of a piece of work that could have stayed."""
    if start > first:
        return f"it follows earlier work on {pour} that moved."
    old = _at(previous, pour, start)
    taken = sorted({
        other
        for other, people, begin, end in _spans(plan)
        if other != pour and old and begin < old[2] and end > old[1] and set(people) & set(old[0])
        and (other, begin) not in {(o, b) for o, _, b, _ in _spans(previous)}
    })  # fmt: skip
    if taken:
        return f"its people are now with {', '.join(taken[:3])} at that time."
    mates = sorted({
        p.pour for b in plan.batches if any(x.pour == pour for x in b.portions)
        for p in b.portions if p.pour != pour
    })  # fmt: skip
    if mates:
        return f"it now shares a pot with {', '.join(mates[:3])}."
    return "the week as a whole is less late or takes fewer pots this way."


def _at(plan: Plan, pour: str, start: int) -> tuple[tuple[str, ...], int, int] | None:
    for batch in plan.batches:
        if any(p.pour == pour and p.start_min == start for p in batch.portions):
            return batch.people, batch.start_min, batch.end_min
    for task in plan.tasks:
        if task.pour == pour and task.start_min == start:
            return task.people, task.start_min, task.end_min
    return None


def _spans(plan: Plan) -> list[tuple[str, tuple[str, ...], int, int]]:
    spans = [(t.pour, t.people, t.start_min, t.end_min) for t in plan.tasks]
    for b in plan.batches:
        spans += [(p.pour, b.people, b.start_min, b.end_min) for p in b.portions]
    return spans
