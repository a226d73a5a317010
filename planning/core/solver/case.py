"""One planning case: the problem prepared, frozen work laid down, material at hand."""

from __future__ import annotations

from collections.abc import Container

from planning.core.plan import Batch, Frozen, Plan, Problem, Task
from planning.core.problem import Pour
from planning.core.solver import ovens
from planning.core.solver.ahead import Ahead
from planning.core.solver.board import Board
from planning.core.solver.jobs import Fixed, Job, make_jobs
from planning.core.solver.shop import Shop
from planning.core.solver.stock import Stock


class Case:
    """What the search works on."""

    def __init__(self, problem: Problem, let_go: frozenset[str] = frozenset()) -> None:
        self.problem = problem
        self.let_go = let_go
        """Batches of the previous plan that are not held for the sake of frozen ones."""
        self.frozen = with_horizon(problem, let_go)
        self.shop = Shop(problem)
        self.jobs: list[Job] = make_jobs(self.shop, Fixed.of(self.frozen))
        self.shop.jobs = self.jobs
        self.stock = Stock(self.shop, self.jobs, self.frozen.batches)
        self.came_off: dict[str, str] = {}
        """Why pours of the previous plan could not stay where they were."""
        self.tight = False
        """Material binds, so each insertion looks at it."""
        self.empty = Board(self.shop)
        self._lay_down(self.empty)
        self.shop.ahead = Ahead(self.shop, self.jobs, self.empty)

    def held_in_vain(self, placed: Container[int]) -> frozenset[str]:
        """Return batches held only for the sake of frozen ones, of pours that have no place."""
        facts = facts_of(self.problem)
        left = {j.pour.id for j in self.jobs if j.index not in placed}
        return frozenset(
            b.id for b in self.frozen.batches
            if b.id not in facts and any(p.pour in left for p in b.portions)
        )  # fmt: skip

    def _lay_down(self, board: Board) -> None:
        """Take people, mixers, places and ovens for frozen work."""
        shop = self.shop
        for batch in self.frozen.batches:
            self._take(board, shop.person_units, batch.people, batch.start_min, batch.end_min)
            mixers = {m.mixer.id: [] for m in shop.mixer_units}  # type: dict[str, list[int]]
            for m in shop.mixer_units:
                mixers[m.mixer.id].append(m.unit)
            self._take(board, mixers, (batch.mixer,), batch.contact_min, batch.end_min)
        cycles = {
            (p.id, s.id): (s.oven_cycle, s.wait_min)
            for p in self.problem.pours
            for s in (*p.before, *p.after)
        }
        oven_index = {o.id: i for i, o in enumerate(shop.ovens)}
        for task in self.frozen.tasks:
            self._take(board, shop.person_units, task.people, task.start_min, task.end_min)
            cycle, wait = cycles.get((task.pour, task.step), ("", 0))
            if task.oven in oven_index and cycle:
                begin = task.end_min if task.oven_start_min is None else task.oven_start_min
                ovens.load(board, oven_index[task.oven], begin, wait, cycle)
        board.ovens = [tuple(x._replace(fixed=True) for x in o) for o in board.ovens]
        units: dict[str, list[int]] = {}
        for unit, place in shop.place_of.items():
            units.setdefault(place, []).append(unit)
        index_of = {p.id: i for i, p in enumerate(self.problem.pours)}
        for stand in sorted(self.frozen.stands, key=lambda s: (s.start_min, s.pour)):
            taken = self._take(board, units, (stand.place,), stand.start_min, stand.end_min)
            if stand.pour in index_of and taken:
                shop.stand_slots[index_of[stand.pour]] = taken[0]
        for index, unit in shop.stand_slots.items():
            self._hold(board, self.jobs[index], unit)

    def _hold(self, board: Board, job: Job, unit: int) -> None:
        """Keep the slot of a begun pour for the one that takes it over, as long as it is free."""
        if job.stand is None:
            return
        above = [self.jobs[c] for c in job.children if self.jobs[c].pour.same_place]
        waits = above and all(a.stand is None for a in above)
        job.held_most = self.shop.place_length if waits else job.stand.end_min
        board.keep_slot(job.index, unit, (job.stand.start_min, job.stand.end_min), job.held_most)

    @staticmethod
    def _take(
        board: Board, units: dict[str, list[int]], ids: tuple[str, ...], start: int, end: int
    ) -> list[int]:
        """Take one unit for each id, a free one where there is one."""
        taken: list[int] = []
        for id in ids:
            own = [u for u in units.get(id, []) if u not in taken]
            if not own:
                continue
            unit = max(own, key=lambda u: (_free_share(board.free[u], start, end), -u))
            board.reserve((unit,), start, end)
            taken.append(unit)
        return taken


def _free_share(bits: int, start: int, end: int) -> int:
    return (bits >> max(0, start) & ((1 << max(0, end - max(0, start))) - 1)).bit_count()


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

    A lift of which one batch is frozen keeps its other batches too, unless their people or mixer
    are gone: then the rest of it is planned anew while the batch below is still liquid, or not at
    all.
    """
    previous, until = problem.previous, problem.settings.freeze_until_min
    if previous is None or until <= 0:
        return problem.frozen
    pours = {p.id: p for p in problem.pours}
    batches = {b.id: b for b in problem.frozen.batches}
    gone = {b.id for b in previous.batches if b.start_min >= until and not _holds(problem, b)}
    held, whole = _held(previous, until, pours, gone | let_go)
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
        if task.pour in pours and (task.start_min < until or passed or task.pour in whole):
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
    previous: Plan, until: int, pours: dict[str, Pour], gone: set[str]
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
