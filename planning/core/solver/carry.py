"""Lay a plan down again: keep at its old time what still holds every rule."""

from __future__ import annotations

from collections.abc import Iterable

from planning.core.plan import Plan, Stand, Task
from planning.core.solver import masks, ovens, pots, removal, search, stands, steps
from planning.core.solver.board import Board, Placed, Work, lateness
from planning.core.solver.carried_pots import CarriedPots, same_people
from planning.core.solver.case import Case
from planning.core.solver.job import Job, StepJob
from planning.core.solver.old_times import (
    OldTimes,
    cured_min,
    first_contact,
    first_start,
    longest_to_pour,
)
from planning.core.solver.prices import Prices
from planning.core.solver.wording import named


def carry_over(case: Case, prices: Prices) -> Board:
    """
    Return a board with everything of the previous plan that still holds, at its old times.

    Reasons why the others came off are left in `case.came_off`, by pour.
    """
    board = case.empty.copy()
    previous = case.problem.previous
    if previous is None:
        return board
    carrier = _Carrier(case, board, previous, prices)
    bad: set[int] = set()
    for index in _in_time(case.jobs, carrier.stands):
        job = case.jobs[index]
        reason = carrier.lay(job)
        if reason:
            bad.add(index)
            if job.pour.id in carrier.known:
                case.came_off[job.pour.id] = reason
    for index in sorted(bad):
        if index not in board.placed:
            carrier.pretend(case.jobs[index])
    removal.remove(case.shop, case.jobs, board, bad)
    for index in sorted(bad):
        board.placed.pop(index, None)
    search.take_off_short(case, board)
    return board


def _in_time(jobs: list[Job], stands: dict[str, Stand]) -> list[int]:
    """Return pours by when they took their place, so that places are filled without gaps."""

    def begun(job: Job) -> tuple[int, int]:
        old = stands.get(job.pour.id)
        depth, at = 0, job
        while at.parent is not None and depth < len(jobs):
            depth, at = depth + 1, jobs[at.parent]
        return (old.start_min if old else 0, depth)

    return [j.index for j in sorted(jobs, key=lambda j: (*begun(j), j.index))]


class _Carrier:
    """Lays the previous plan down again, piece by piece."""

    def __init__(self, case: Case, board: Board, previous: Plan, prices: Prices) -> None:
        self.case, self.shop, self.board, self.prices = case, case.shop, board, prices
        self.known = {x.pour for x in previous.lifts}
        self.tasks: dict[tuple[str, str, str, int | None], Task] = {
            (t.pour, t.kind, t.step, t.lift): t for t in previous.tasks
        }
        self.steps = prices.keep_steps
        self.stands: dict[str, Stand] = {s.pour: s for s in previous.stands}
        self.lifts = {(x.pour, x.lift): x for x in previous.lifts}
        self.pots = CarriedPots(case, board, previous)
        self.pots.lay()

    def lay(self, job: Job) -> str:
        """Lay one pour down; return why not where it no longer holds."""
        if job.trouble:
            return job.trouble[1]
        if job.pour.id not in self.known:
            return "new"
        if job.index in self.pots.reasons:
            return self.pots.reasons[job.index]
        if job.parent is not None and job.parent not in self.board.placed:
            return "what it stands on moved"
        board, shop = self.board, self.shop
        ids = []
        for lift in job.lifts:
            was = self.lifts.get((job.pour.id, lift.lift.lift))
            here = self.pots.ids.get((job.index, lift.lift.lift), [])
            poured = sum(
                s.kg for i in here for s in board.pots[job.chemistry.index][i].shares
                if s.job == job.index
            )  # fmt: skip
            if was != lift.lift or abs(poured - sum(lift.divisions[0])) > 1e-6:
                return "it is now cast in other lifts"
            ids.append(tuple(here))
        works: list[Work] = []
        reason = self._works(job, works, ids)
        placed = Placed(tuple(works), tuple(ids), -1, 0, 0, 0, 0, 0)
        old = OldTimes(shop, board, job, works, ids)
        reason = reason or old.why_not()
        if reason:
            self._take_back(works)
            return reason
        in_oven: list[Work] = []
        for step, work in zip((*job.before, *job.after), _steps_of(works), strict=True):
            if work.oven == ovens.NO_OVEN or work.fixed:
                continue
            if not ovens.put_in(shop, board, work.oven, work.oven_start, step.step):
                self._take_back(works, in_oven)
                return "the oven is no longer free for it"
            in_oven.append(work)
        placed = self._stand(old, placed)
        if placed.slot < 0:
            self._take_back(works, in_oven)
            return "its place is no longer free"
        board.placed[job.index] = placed
        board.late += placed.late
        board.time += placed.finish
        return ""

    def _take_back(self, works: list[Work], in_oven: Iterable[Work] = ()) -> None:
        """Free the people and ovens of a pour that does not hold after all."""
        for work in works:
            if not work.fixed:
                self.board.release(work.people, work.start, work.end)
        for work in in_oven:
            ovens.unload(self.board, work.oven, work.oven_start)

    def _works(self, job: Job, works: list[Work], ids: list[tuple[int, ...]]) -> str:
        """Lay steps down at their old times, or at others round the same pours."""
        kept = self._kept(job, "before", job.before)
        kept = self._again(job, ids) if kept is None else kept
        if kept is None:
            return "the people for its steps are not there at that time"
        works += kept
        reason = self._abrades(job, works)
        if reason:
            return reason
        kept = self._kept(job, "after", job.after)
        cured = cured_min(job, self.board, ids)
        if kept and not kept[0].fixed and kept[0].start < cured:
            self._take_back(kept)
            kept = None
        if kept is None:
            starts = self.steps.get(job.index, {})
            near = steps.as_before(self.shop, self.board, job.after, starts, cured)
            if near is None:
                tail = steps.earliest(self.shop, self.board, job.after, cured)
                if tail is None:
                    return "the people for its last steps are not there"
                near = tail[0]
            kept = steps.staff(self.shop, self.board, job.after, near, load=False)
        works += kept
        return ""

    def _kept(self, job: Job, kind: str, own: tuple[StepJob, ...]) -> list[Work] | None:
        """Return the tasks of the previous plan where all still hold."""
        works: list[Work] = []
        for i, step in enumerate(own):
            if step.fixed is not None:
                works.append(steps.fixed_work(self.shop, step, i))
                continue
            task = self.tasks.get((job.pour.id, kind, step.step.id, None))
            work = None
            if task is not None and task.end_min - task.start_min == step.step.hands_min:
                work = self._work(task, step, i)
            if work is None:
                self._take_back(works)
                return None
            works.append(work)
        return works

    def _again(self, job: Job, ids: list[tuple[int, ...]]) -> list[Work] | None:
        """Place the steps before a pour near their old times, or as late as its own allows."""
        low = pots.not_before(self.shop, self.board, job.index)
        longest = longest_to_pour(self.shop, job)
        first = first_start(job, self.board, ids)
        pouring = steps.Pouring(first_contact(job, self.board, ids), first, longest)
        late = steps.as_before(
            self.shop, self.board, job.before, self.steps.get(job.index, {}), low, pouring
        )
        if late is None:
            late = steps.latest(self.shop, self.board, job.before, low, pouring)
        if late is None:
            return None
        return steps.staff(self.shop, self.board, job.before, late, load=False)

    def _abrades(self, job: Job, works: list[Work]) -> str:
        for i, lift in enumerate(job.lifts):
            task = self.tasks.get((job.pour.id, "abrade", "", i))
            if lift.abraded is not None or task is None:
                continue
            start, end = task.start_min, task.end_min
            if end - start != job.chemistry.system.abrade_min:
                return "abrading takes another time"
            people = same_people(
                self.case,
                self.board,
                task.people,
                self.shop.group(""),
                1,
                start,
                max(end, start + 1),
            )
            if people is None:
                return f"{named(self.case.problem.people, task.people)} cannot abrade at that time"
            self.board.reserve(people, start, end)
            works.append(Work("abrade", i, start, end, people, ovens.NO_OVEN, 0, False))
        return ""

    def _people(
        self, task: Task, able: tuple[int, ...], hands: int, end: int
    ) -> tuple[int, ...] | None:
        return same_people(self.case, self.board, task.people, able, hands, task.start_min, end)

    def _work(self, task: Task, step: StepJob, index: int) -> Work | None:
        start, end = task.start_min, task.end_min
        people: tuple[int, ...] = ()
        if end > start:
            found = same_people(
                self.case, self.board, task.people, step.units, step.step.hands, start, end
            )
            if found is None:
                return None
            people = found
            self.board.reserve(people, start, end)
        oven, begin = ovens.NO_OVEN, end
        if step.step.oven_cycle:
            begin = end if task.oven_start_min is None else task.oven_start_min
            oven = next((i for i, o in enumerate(self.shop.ovens) if o.id == task.oven), -1)
            if oven < 0 or not ovens.is_free(self.shop, self.board, oven, begin, step.step):
                self.board.release(people, start, end)
                return None
        return Work(step.kind, index, start, end, people, oven, begin, False)

    def _stand(self, old: OldTimes, placed: Placed) -> Placed:
        """Put a pour in its place; `slot` stays below 0 where none is free."""
        job, done = old.job, old.done_min
        start = first_start(job, self.board, old.ids)
        for step, work in zip(job.before, old.works, strict=False):
            if step.step.holds_place:
                start = work.start
                break
        if job.stand is not None:
            start = job.stand.start_min
        placed = placed._replace(stand_start=start, stand_end=done, finish=done)
        slot = self._slot(job, placed)
        if slot < 0:
            return placed
        board = self.board
        end = self.shop.place_length if job.keeps_place else done
        if job.pour.same_place and job.parent is not None:
            stands.hand_over(board, job.parent, start)
        board.take_stand(job.index, slot, start, end, job.begun_to)
        return placed._replace(
            works=tuple(old.works), slot=slot, stand_end=end, late=lateness(job, done)
        )

    def _slot(self, job: Job, placed: Placed) -> int:
        shop, board = self.shop, self.board
        end = shop.place_length if job.keeps_place else placed.stand_end
        need = masks.span(placed.stand_start, end)
        if job.stand is not None:
            slot = shop.stand_slots.get(job.index, -1)
            own = masks.span(job.stand.start_min, board.held[job.index])
            return slot if slot >= 0 and (board.free[slot] | own) & need == need else -1
        if job.pour.same_place and job.parent is not None:
            below = board.placed[job.parent]
            need |= masks.span(below.stand_end, placed.stand_start)
            own = masks.span(below.finish, below.stand_end)
            return below.slot if (board.free[below.slot] | own) & need == need else -1
        old = self.stands.get(job.pour.id)
        units = sorted(
            shop.slots.get(job.pour.place_kind, []),
            key=lambda u: (old is None or shop.place_of[u] != old.place, u),
        )
        return next((u for u in units if board.free[u] & need == need), -1)

    def pretend(self, job: Job) -> None:
        """Put a pour that does not hold on the board as a placeholder, to be taken off."""
        ids = tuple(tuple(self.pots.ids.get((job.index, i), ())) for i in range(len(job.lifts)))
        slot = self.shop.stand_slots.get(job.index, next(iter(self.shop.place_of)))
        begin = job.stand.start_min if job.stand is not None else 0
        end = self.board.held.get(job.index, 0)
        self.board.placed[job.index] = Placed((), ids, slot, begin, end, 0, 0, 0)


def _steps_of(works: list[Work]) -> list[Work]:
    return [w for w in works if w.kind != "abrade"]
