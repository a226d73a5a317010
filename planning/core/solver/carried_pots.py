"""The pots of a previous plan, put on the board again where they still hold."""

from __future__ import annotations

from planning.core.plan import Batch, Plan
from planning.core.solver import masks
from planning.core.solver.board import Board, Pot, Share, pour_minutes
from planning.core.solver.case import Case
from planning.core.solver.wording import named


class CarriedPots:
    """Which of the previous plan's pots are on the board, by job and lift, and why others not."""

    def __init__(self, case: Case, board: Board, previous: Plan) -> None:
        self.case, self.shop, self.board, self.previous = case, case.shop, board, previous
        self.ids: dict[tuple[int, int], list[int]] = {}
        self.reasons: dict[int, str] = {}

    def lay(self) -> None:
        """Put them on the board, the first to be mixed first."""
        index_of = {pour.id: i for i, pour in enumerate(self.case.problem.pours)}
        frozen = {batch.id for batch in self.case.frozen.batches}
        batches = [batch for batch in self.previous.batches if batch.id not in frozen]
        for batch in sorted(batches, key=lambda b: (b.start_min, b.id)):
            jobs = [index_of.get(p.pour, -1) for p in batch.portions]
            pot, reason = self._pot(batch, jobs)
            if pot is None:
                for job in jobs if reason else ():
                    self.reasons.setdefault(job, reason)
                continue
            self.board.put_pot(pot)
            for share in pot.shares:
                self.ids.setdefault((share.job, share.lift), []).append(pot.id)

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
        able = shop.group(system.skill)
        people = same_people(self.case, self.board, batch.people, able, system.hands, start, end)
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


def same_people(
    case: Case, board: Board, ids: tuple[str, ...], able: tuple[int, ...],
    hands: int, start: int, end: int,
) -> tuple[int, ...] | None:  # fmt: skip
    """Return the same people where they are free, else others who can; None where too few are."""
    problem, shop = case.problem, case.shop
    units = sorted(able, key=lambda u: (problem.people[shop.person_of[u]].id not in ids, u))
    found = shop.pick_people(board.free, tuple(units), hands, start, end - start)
    return found if len(found) == hands else None
