"""Say what moved from the previous plan to the new one, and why."""

from __future__ import annotations

from dataclasses import dataclass

from planning.core.plan import Move, MoveCause, Plan
from planning.core.solver.case import Case
from planning.core.solver.wording import named, pour_name, work_name


def moves(case: Case, plan: Plan) -> tuple[Move, ...]:
    """Return every portion and task of the previous plan that moved, each with its reason."""
    problem, previous = case.problem, case.problem.previous
    if previous is None:
        return ()
    wanted = {p.id for p in problem.pours}
    unplaced = {u.pour: u.words for u in plan.unplaced}
    before, after = starts_of(previous), starts_of(plan)
    opens = min((a for p in problem.people for a, _ in p.shifts), default=0)
    first: dict[str, int] = {}
    for piece, start in before.items():
        if after.get(piece) != start:
            first[piece.pour] = min(start, first.get(piece.pour, start))
    found = []
    for piece, start in sorted(before.items(), key=lambda x: (x[1], x[0].order)):
        pour, now = piece.pour, after.get(piece)
        if pour not in wanted or now == start:
            continue
        others: tuple[str, ...] = ()
        cause: MoveCause
        if pour in unplaced:
            cause, reason = "unplaced", unplaced[pour]
        elif start < opens:
            cause, reason = "came_off", "its time had passed when this plan was made."
        elif pour in case.came_off:
            cause, reason = "came_off", f"{case.came_off[pour]}."
        else:
            cause, others = _why_moved(previous, plan, pour, start, first[pour])
            reason = WORDS[cause].format(
                pour=pour_name(problem, pour), others=named(problem.pours, others)
            )
        what = work_name(problem, pour, piece.step, piece.lift, piece.portion)
        reason = reason[0].upper() + reason[1:]
        found.append(Move(what, start, now, reason, pour, piece.step, piece.lift, cause, others))
    return tuple(found)


WORDS = {
    "follows": "it follows earlier work on {pour} that moved.",
    "people": "its people are now with {others} at that time.",
    "shares": "it now shares a pot with {others}.",
    "better": "the week as a whole is less late or takes fewer pots this way.",
}


ABRADING = "abrade"


@dataclass(frozen=True)
class Piece:
    """A piece of work as any plan knows it: a step, a portion of a lift, abrading before it."""

    pour: str
    step: str = ""
    """Id of the step, ABRADING for that, empty for casting."""
    lift: int | None = None
    portion: int = 0
    """Of a lift cast from several pots, which of them, in the order of pouring."""

    @property
    def order(self) -> tuple[str, str, int, int]:
        """A key to sort by."""
        return self.pour, self.step, -1 if self.lift is None else self.lift, self.portion


def starts_of(plan: Plan) -> dict[Piece, int]:
    """Return the start of each task, and of pouring each portion."""
    starts: dict[Piece, int] = {}
    for task in plan.tasks:
        step = ABRADING if task.kind == "abrade" else task.step
        starts[Piece(task.pour, step, task.lift)] = task.start_min
    portions: dict[tuple[str, int], list[int]] = {}
    for batch in plan.batches:
        for p in batch.portions:
            portions.setdefault((p.pour, p.lift), []).append(p.start_min)
    for (pour, lift), begins in portions.items():
        for number, start in enumerate(sorted(begins)):
            starts[Piece(pour, lift=lift, portion=number)] = start
    return starts


def _why_moved(
    previous: Plan, plan: Plan, pour: str, start: int, first: int
) -> tuple[MoveCause, tuple[str, ...]]:
    """Return what has taken the time of a piece of work that could have stayed, and for whom."""
    if start > first:
        return "follows", ()
    old = _at(previous, pour, start)
    taken = sorted({
        other
        for other, people, begin, end in _spans(plan)
        if other != pour and old and begin < old[2] and end > old[1] and set(people) & set(old[0])
        and (other, begin) not in {(o, b) for o, _, b, _ in _spans(previous)}
    })  # fmt: skip
    if taken:
        return "people", tuple(taken[:3])
    mates = sorted({
        p.pour for b in plan.batches if any(x.pour == pour for x in b.portions)
        for p in b.portions if p.pour != pour
    })  # fmt: skip
    if mates:
        return "shares", tuple(mates[:3])
    return "better", ()


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
