"""Lay a plan down again: keep at its old time what still holds every rule."""

from __future__ import annotations

import itertools

from planning.core.plan import Batch, Plan, Stand, Task
from planning.core.solver import masks, ovens, pots, removal, search, stands, steps
from planning.core.solver.board import Board, Placed, Pot, Share, Work, lateness, pour_minutes
from planning.core.solver.case import Case
from planning.core.solver.job import Job, StepJob
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
    carrier.lay_pots()
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
        self.previous = previous
        self.index_of = {p.id: i for i, p in enumerate(case.problem.pours)}
        self.known = {x.pour for x in previous.lifts}
        frozen = {b.id for b in case.frozen.batches}
        self.batches = [b for b in previous.batches if b.id not in frozen]
        self.tasks: dict[tuple[str, str, str, int | None], Task] = {
            (t.pour, t.kind, t.step, t.lift): t for t in previous.tasks
        }
        self.steps = prices.keep_steps
        self.stands: dict[str, Stand] = {s.pour: s for s in previous.stands}
        self.lifts = {(x.pour, x.lift): x for x in previous.lifts}
        self.pot_ids: dict[tuple[int, int], list[int]] = {}
        self.reasons: dict[int, str] = {}

    def lay_pots(self) -> None:
        for batch in sorted(self.batches, key=lambda b: (b.start_min, b.id)):
            jobs = [self.index_of.get(p.pour, -1) for p in batch.portions]
            pot, reason = self._pot(batch, jobs)
            if pot is None:
                for job in jobs if reason else ():
                    self.reasons.setdefault(job, reason)
                continue
            self.board.put_pot(pot)
            for share in pot.shares:
                self.pot_ids.setdefault((share.job, share.lift), []).append(pot.id)

    def _pot(self, batch: Batch, jobs: list[int]) -> tuple[Pot | None, str]:
        shop = self.shop
        kept = [
            Share(job, p.lift, p.kg, p.start_min, p.end_min)
            for job, p in zip(jobs, batch.portions, strict=True)
            if job >= 0
            and not self.case.jobs[job].trouble
            and p.lift < len(self.case.jobs[job].lifts)  # it may be cast in fewer lifts by now
        ]
        if not kept:
            return None, ""
        job = self.case.jobs[kept[0].job]
        chemistry, system = job.chemistry, job.chemistry.system
        if system.id != batch.system:
            return None, "it is now cast of another system"
        pour, pour_end = kept[0].start, kept[-1].end
        begins = [pour]
        for s in kept:
            begins.append(begins[-1] + pour_minutes(job, s.kg) + system.move_min)
        if any(s.start != b for s, b in zip(kept, begins, strict=False)):
            return None, "a pour it shared a pot with is gone or takes another time"
        contact = pour - system.mix_min
        start, end = contact - system.weigh_min, pour_end + system.clean_min
        if start < 0 or pour_end - contact > chemistry.life_min(contact):
            return None, "the pot life at that time is now too short"
        sharing = all(self.case.jobs[s.job].pour.may_share for s in kept)
        most = min(shop.settings.most_tools_per_batch, chemistry.most_tools)
        sharing = sharing and shop.settings.allow_sharing
        if len(kept) > most or (len(kept) > 1 and not sharing):
            return None, "sharing this pot is no longer allowed"
        kg = sum(s.kg for s in kept)
        units, heavy = shop.mixers(chemistry, kg)
        need = masks.span(contact, end)
        free = [m for m in units if self.board.free[m.unit] & need == need]
        free.sort(key=lambda m: (m.mixer.id != batch.mixer, m.unit))
        if not free or not heavy:
            return None, "no mixer is free for it at that time"
        people = self._people(batch.people, shop.group(system.skill), system.hands, start, end)
        if people is None:
            return (
                None,
                f"{named(self.case.problem.people, batch.people)} can no longer mix at that time",
            )
        last = {(s.job, s.lift) for s in kept}
        shared = all(
            self._is_last(x, batch) for x in last
        )  # only the last portion of a lift shares a pot
        if len(kept) > 1 and not shared:
            return None, "its lift is now divided another way"
        pot = Pot(
            self.board.next_id, chemistry.index, free[0].unit, people, start, contact, pour,
            tuple(kept), pour_end, end, kg, sharing and most > 1 and shared, False,
            shop.fill(chemistry, kg),
        )  # fmt: skip
        self.board.next_id += 1
        return pot, ""

    def _is_last(self, key: tuple[int, int], batch: Batch) -> bool:
        pour = self.case.jobs[key[0]].pour.id
        ends = [
            b.pour_end_min for b in self.previous.batches
            if any(p.pour == pour and p.lift == key[1] for p in b.portions)
        ]  # fmt: skip
        return batch.pour_end_min >= max(ends)

    def _people(
        self, ids: tuple[str, ...], able: tuple[int, ...], hands: int, start: int, end: int
    ) -> tuple[int, ...] | None:
        """Return the same people where they are free, else others who can."""
        problem, shop = self.case.problem, self.shop
        minutes = end - start
        wanted = list(ids)
        units = sorted(able, key=lambda u: (problem.people[shop.person_of[u]].id not in wanted, u))
        found = shop.pick_people(self.board.free, tuple(units), hands, start, minutes)
        return found if len(found) == hands else None

    def lay(self, job: Job) -> str:
        """Lay one pour down; return why not where it no longer holds."""
        if job.trouble:
            return job.trouble[1]
        if job.pour.id not in self.known:
            return "new"
        if job.index in self.reasons:
            return self.reasons[job.index]
        if job.parent is not None and job.parent not in self.board.placed:
            return "what it stands on moved"
        board, shop = self.board, self.shop
        ids = []
        for lift in job.lifts:
            old = self.lifts.get((job.pour.id, lift.lift.lift))
            here = self.pot_ids.get((job.index, lift.lift.lift), [])
            poured = sum(
                s.kg for i in here for s in board.pots[job.chemistry.index][i].shares
                if s.job == job.index
            )  # fmt: skip
            if old != lift.lift or abs(poured - sum(lift.divisions[0])) > 1e-6:
                return "it is now cast in other lifts"
            ids.append(tuple(here))
        works: list[Work] = []
        reason = self._works(job, works, ids)
        placed = Placed(tuple(works), tuple(ids), -1, 0, 0, 0, 0, 0)
        reason = reason or self._finish(job, works, ids)
        if reason:
            self._take_back(works, [])
            return reason
        in_oven: list[Work] = []
        for step, work in zip((*job.before, *job.after), _steps_of(works), strict=True):
            if work.oven == ovens.NO_OVEN or work.fixed:
                continue
            if not ovens.put_in(shop, board, work.oven, work.oven_start, step.step):
                self._take_back(works, in_oven)
                return "the oven is no longer free for it"
            in_oven.append(work)
        placed = self._stand(job, placed, works)
        if placed.slot < 0:
            self._take_back(works, in_oven)
            return "its place is no longer free"
        board.placed[job.index] = placed
        board.late += placed.late
        board.time += placed.finish
        return ""

    def _take_back(self, works: list[Work], in_oven: list[Work]) -> None:
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
        cured = self._cured(job, ids)
        if kept and not kept[0].fixed and kept[0].start < cured:
            self._undo(kept)
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
                self._undo(works)
                return None
            works.append(work)
        return works

    def _undo(self, works: list[Work]) -> None:
        for work in works:
            if not work.fixed:
                self.board.release(work.people, work.start, work.end)

    def _again(self, job: Job, ids: list[tuple[int, ...]]) -> list[Work] | None:
        """Place the steps before a pour near their old times, or as late as its own allows."""
        low = pots.not_before(self.shop, self.board, job.index)
        limits = (job.before[-1].step.longest_wait_min, self.shop.settings.coat_to_pour_most_min)
        longest = min((x for x in limits if x is not None), default=None)
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

    def _cured(self, job: Job, ids: list[tuple[int, ...]]) -> int:
        ends = [p.end_min for _, p in job.lifts[-1].fixed]
        for id in ids[-1]:
            pot = self.board.pots[job.chemistry.index][id]
            ends += [s.end for s in pot.shares if s.job == job.index]
        return max(ends) + max(job.chemistry.at(max(ends)).cure_min, job.pour.cure_min or 0)

    def _abrades(self, job: Job, works: list[Work]) -> str:
        for i, lift in enumerate(job.lifts):
            task = self.tasks.get((job.pour.id, "abrade", "", i))
            if lift.abraded is not None or task is None:
                continue
            start, end = task.start_min, task.end_min
            if end - start != job.chemistry.system.abrade_min:
                return "abrading takes another time"
            people = self._people(task.people, self.shop.group(""), 1, start, max(end, start + 1))
            if people is None:
                return f"{named(self.case.problem.people, task.people)} cannot abrade at that time"
            self.board.reserve(people, start, end)
            works.append(Work("abrade", i, start, end, people, ovens.NO_OVEN, 0, False))
        return ""

    def _work(self, task: Task, step: StepJob, index: int) -> Work | None:
        start, end = task.start_min, task.end_min
        people: tuple[int, ...] = ()
        if end > start:
            found = self._people(task.people, step.units, step.step.hands, start, end)
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

    def _finish(self, job: Job, works: list[Work], ids: list[tuple[int, ...]]) -> str:
        """Check waits, gaps, wet on wet, cure and attendance at the old times."""
        board, shop, chemistry = self.board, self.shop, job.chemistry
        befores = [w for w in works if w.kind == "before"]
        afters = [w for w in works if w.kind == "after"]
        low = pots.not_before(shop, board, job.index)
        starts = [w.start for w in works if not w.fixed]
        starts += [board.pots[chemistry.index][i].start for lift in ids for i in lift]
        if starts and min(starts) < low:
            return "it may not start as early any more"
        for own, jobs in ((befores, job.before), (afters, job.after)):
            for a, b, step in zip(own, own[1:], jobs, strict=False):
                longest = step.step.longest_wait_min
                if b.start < steps.ready_after(step, a):
                    return "a step now waits longer"
                if longest is not None and b.start > a.end + longest:
                    return "a step now may not wait so long"
        end = -1
        for i, lift in enumerate(job.lifts):
            spans = [(b.contact_min, p.start_min, p.end_min) for b, p in lift.fixed]
            for id in ids[i]:
                pot = board.pots[chemistry.index][id]
                share = next(s for s in pot.shares if s.job == job.index)
                if not shop.pour_clock >> share.start & 1:
                    return "it may not be poured so late in the day"
                spans.append((pot.contact, share.start, share.end))
            spans.sort(key=lambda s: s[1])
            for low_pot, pot_above in itertools.pairwise(spans):
                gelled = low_pot[0] + chemistry.gel_min(low_pot[0])
                if pot_above[1] < low_pot[2] or pot_above[2] > gelled:
                    return "the batch below would gel too early"
            first, last = spans[0][1], spans[-1][2]
            if ids[i] and not shop.attended(chemistry) >> last & 1:
                return "nobody would be there until its peak"
            if i == 0 and befores and (ids[0] or not befores[-1].fixed):
                limits = (
                    job.before[-1].step.longest_wait_min,
                    shop.settings.coat_to_pour_most_min,
                )
                longest = min((x for x in limits if x is not None), default=None)
                if first < steps.ready_after(job.before[-1], befores[-1]):
                    return "the last step before the pour now waits longer"
                if longest is not None and first > befores[-1].end + longest:
                    return "the pour is too long after the last step"
            new = [board.pots[chemistry.index][id].contact for id in ids[i]]
            if befores and not befores[-1].fixed:
                new += [b.contact_min for b, _ in lift.fixed]
            if befores and min(new, default=befores[-1].end) < befores[-1].end:
                return "a step before the pour would end after the pot is mixed"
            if i and ids[i]:
                ready, closes = job.gap(i, end)
                overdue = first > closes
                mixed = min(contact for contact, _, _ in spans)
                abrades = [w for w in works if w.kind == "abrade" and w.number == i]
                awry = any(w.start < ready or w.end > mixed for w in abrades)
                abraded = abrades and shop.settings.overdue_lift == "abrade"
                if first < ready or awry or (overdue and not abraded):
                    return "the gap between two lifts no longer holds"
            end = last
        cured = end + max(chemistry.at(end).cure_min, job.pour.cure_min or 0)
        if afters and not afters[0].fixed and afters[0].start < cured:
            return "the cure now takes longer"
        self._done = steps.ready_after(job.after[-1], afters[-1]) if afters else cured
        self._first = first_start(job, board, ids)
        return ""

    def _stand(self, job: Job, placed: Placed, works: list[Work]) -> Placed:
        start = self._first
        for step, work in zip(job.before, works, strict=False):
            if step.step.holds_place:
                start = work.start
                break
        if job.stand is not None:
            start = job.stand.start_min
        placed = placed._replace(stand_start=start, stand_end=self._done, finish=self._done)
        slot = self._slot(job, placed)
        if slot < 0:
            return placed
        board = self.board
        end = self.shop.place_length if job.keeps_place else self._done
        if job.pour.same_place and job.parent is not None:
            stands.hand_over(board, job.parent, start)
        board.reserve((slot,), start, end)
        return placed._replace(
            works=tuple(works), slot=slot, stand_end=end, late=lateness(job, self._done)
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
        ids = tuple(tuple(self.pot_ids.get((job.index, i), ())) for i in range(len(job.lifts)))
        slot = self.shop.stand_slots.get(job.index, next(iter(self.shop.place_of)))
        begin = job.stand.start_min if job.stand is not None else 0
        end = self.board.held.get(job.index, 0)
        self.board.placed[job.index] = Placed((), ids, slot, begin, end, 0, 0, 0)


def _steps_of(works: list[Work]) -> list[Work]:
    return [w for w in works if w.kind != "abrade"]


def first_contact(job: Job, board: Board, ids: list[tuple[int, ...]]) -> int:
    """Return when the first pot of a pour is mixed."""
    fixed = [b.contact_min for lift in job.lifts for b, _ in lift.fixed]
    own = [board.pots[job.chemistry.index][id].contact for lift in ids for id in lift]
    return min((*fixed, *own))


def first_start(job: Job, board: Board, ids: list[tuple[int, ...]]) -> int:
    """Return the first minute of pouring."""
    starts = [p.start_min for _, p in job.lifts[0].fixed]
    for id in ids[0]:
        pot = board.pots[job.chemistry.index][id]
        starts += [s.start for s in pot.shares if s.job == job.index]
    return min(starts)
