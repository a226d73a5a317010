"""One planning case: the problem prepared, frozen work laid down, material at hand."""

from __future__ import annotations

from collections.abc import Container

from planning.core.plan import Problem
from planning.core.solver import ovens, stands
from planning.core.solver.ahead import Ahead
from planning.core.solver.board import Board
from planning.core.solver.frozen import facts_of, with_horizon
from planning.core.solver.job import Job
from planning.core.solver.jobs import Fixed, make_jobs
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
        going_on: set[int] = set()
        for stand in sorted(self.frozen.stands, key=lambda s: (s.start_min, s.pour)):
            # A stand that goes on longer than was planned needs a slot that stays free then;
            # only what stands on it comes into the same.
            index = index_of.get(stand.pour, -1)
            below = self.jobs[index].parent if index >= 0 else None
            own = shop.stand_slots.get(-1 if below is None else below, -1)
            spare = [u for u in units.get(stand.place, []) if u == own or u not in going_on]
            usable = {stand.place: spare or units.get(stand.place, [])}
            taken = self._take(board, usable, (stand.place,), stand.start_min, stand.end_min)
            if index >= 0 and taken:
                shop.stand_slots[index] = taken[0]
                going_on.update(taken)
        stands.keep(shop, board, (self.jobs[index] for index in shop.stand_slots))

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
