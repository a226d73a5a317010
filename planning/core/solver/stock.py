"""Material in the plan: which pots the containers can serve, and from which they are served."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from planning.core.batches import mixed_kg
from planning.core.plan import Batch, LotUse
from planning.core.problem import Container, Lot, System
from planning.core.solver.board import Board
from planning.core.solver.jobs import Job
from planning.core.solver.shop import Shop

DUST_KG = 1e-7
"""Less than the tolerance of the rules; nothing is taken for it."""


@dataclass(frozen=True)
class Need:
    """What one pot takes of one material."""

    key: int
    material: str
    kg: float
    start: int
    pour_end: int


@dataclass(frozen=True)
class Shortage:
    """The first need that no container can serve."""

    need: Need
    rule: str
    short_kg: float


def parts_kg(system: System, mixed: float) -> tuple[float, float]:
    """Return resin and hardener of a mix, kg."""
    hardener = mixed * system.hardener_per_100 / (100 + system.hardener_per_100)
    return mixed - hardener, hardener


class Shelf:
    """Containers of one material while they are being given out."""

    def __init__(self, containers: list[tuple[Lot, Container]]) -> None:
        self.items = containers
        self.left = [c.kg for _, c in containers]
        self.until = [c.usable_until_min for _, c in containers]
        self.open = [c.opened for _, c in containers]

    def usable(self, index: int, start: int, pour_end: int) -> bool:
        """Return whether a container may serve a pot weighed and poured at these minutes."""
        container = self.items[index][1]
        if self.left[index] <= DUST_KG or container.available_from_min > start:
            return False
        until = self.until[index]
        if not self.open[index] and container.open_life_min is not None:
            until = min(until, start + container.open_life_min)
        return until >= pour_end

    def take(self, index: int, kg: float, start: int) -> float:
        """Take up to `kg`; opens the container."""
        container = self.items[index][1]
        if not self.open[index]:
            self.open[index] = True
            if container.open_life_min is not None:
                self.until[index] = min(self.until[index], start + container.open_life_min)
        taken = min(kg, self.left[index])
        self.left[index] -= taken
        return taken

    def merged(self, length: int) -> Shelf:
        """Return a shelf with containers of one date as one, where opening them costs no life."""
        groups: dict[tuple[int, int], int] = {}
        items: list[tuple[Lot, Container]] = []
        left: list[float] = []
        until: list[int] = []
        opened: list[bool] = []
        for i, (lot, container) in enumerate(self.items):
            life = container.open_life_min
            lasting = self.open[i] or life is None or life >= length
            key = (container.available_from_min, self.until[i])
            if lasting and key in groups:
                left[groups[key]] += self.left[i]
                continue
            if lasting:
                groups[key] = len(items)
            items.append((lot, container))
            left.append(self.left[i])
            until.append(self.until[i])
            opened.append(lasting)
        shelf = Shelf([])
        shelf.items, shelf.left, shelf.until, shelf.open = items, left, until, opened
        return shelf

    def twin(self) -> Shelf:
        """Return a shelf that can be emptied without touching this one."""
        shelf = Shelf([])
        shelf.items, shelf.left = self.items, list(self.left)
        shelf.until, shelf.open = list(self.until), list(self.open)
        return shelf

    def order(self, start: int, pour_end: int) -> list[int]:
        """Return usable containers, first expired first, open ones before sealed ones."""
        found = [i for i in range(len(self.items)) if self.usable(i, start, pour_end)]
        found.sort(key=lambda i: (not self.open[i], self.until[i], i))
        return found


class Stock:
    """All containers, and which materials are so plentiful that they need no thought."""

    def __init__(self, shop: Shop, jobs: list[Job], frozen: tuple[Batch, ...]) -> None:
        self.shop = shop
        self.by_material: dict[str, list[tuple[Lot, Container]]] = {}
        for lot in shop.problem.lots:
            for container in lot.containers:
                self.by_material.setdefault(lot.material, []).append((lot, container))
        self.frozen = [b for b in frozen if b.lots]
        self._merged: dict[str, Shelf] | None = None
        self.scarce = self._scarce(jobs) if shop.problem.check_lots else set()
        self.scarce_systems = {
            c.index for c in shop.systems
            if {c.system.resin, c.system.hardener} & self.scarce
        }  # fmt: skip

    def _scarce(self, jobs: list[Job]) -> set[str]:
        """Return materials that could fall short, go out of date or come late."""
        most: dict[str, float] = {}
        for job in jobs:
            system = job.chemistry.system
            for lift in job.lifts:
                for kg in max(lift.divisions, key=len):
                    resin, hardener = parts_kg(system, mixed_kg(system, kg))
                    most[system.resin] = most.get(system.resin, 0.0) + resin
                    most[system.hardener] = most.get(system.hardener, 0.0) + hardener
        for batch in self.frozen:
            for use in batch.lots:
                material = self._material(use.lot)
                most[material] = most.get(material, 0.0) + use.kg
        scarce = set()
        for material, kg in most.items():
            sure = sum(
                c.kg for _, c in self.by_material.get(material, [])
                if c.available_from_min <= 0 and c.usable_until_min >= self.shop.length
                and (c.opened or (c.open_life_min or self.shop.length) >= self.shop.length)
            )  # fmt: skip
            if sure < kg + 1e-6:
                scarce.add(material)
        return scarce

    def _material(self, lot: str) -> str:
        return next((x.material for x in self.shop.problem.lots if x.id == lot), "")

    def shelves(self, materials: Iterable[str]) -> dict[str, Shelf]:
        """Return the shelves as they are after frozen work has taken its part."""
        shelves = {m: Shelf(self.by_material.get(m, [])) for m in materials}
        for batch in sorted(self.frozen, key=lambda b: (b.start_min, b.id)):
            for use in batch.lots:
                shelf = shelves.get(self._material(use.lot))
                if shelf is None:
                    continue
                for i, (lot, container) in enumerate(shelf.items):
                    if (lot.id, container.id) == (use.lot, use.container):
                        shelf.take(i, use.kg, batch.start_min)
        return shelves

    def needs(self, board: Board, materials: set[str]) -> list[Need]:
        """Return what the pots on the board take of some materials, in order of weighing."""
        found = []
        for chemistry in self.shop.systems:
            system = chemistry.system
            if not {system.resin, system.hardener} & materials:
                continue
            for pot in board.pots[chemistry.index].values():
                parts = parts_kg(system, mixed_kg(system, pot.kg))
                for material, kg in zip((system.resin, system.hardener), parts, strict=True):
                    if material in materials:
                        found.append(Need(pot.id, material, kg, pot.start, pot.pour_end))
        found.sort(key=lambda n: (n.start, n.key))
        return found

    def shortage(self, board: Board) -> Shortage | None:
        """Return the first need that cannot be served, first expired first out."""
        if not self.scarce:
            return None
        if self._merged is None:
            taken = self.shelves(sorted(self.scarce))
            self._merged = {m: taken[m].merged(self.shop.length) for m in sorted(taken)}
        shelves = {m: shelf.twin() for m, shelf in self._merged.items()}
        for need in self.needs(board, self.scarce):
            shelf = shelves[need.material]
            rest = need.kg
            for index in shelf.order(need.start, need.pour_end):
                rest -= shelf.take(index, rest, need.start)
                if rest <= DUST_KG:
                    break
            if rest > DUST_KG:
                left = sum(shelf.left)
                return Shortage(need, "lot_mass" if left < rest - DUST_KG else "lot_date", rest)
        return None

    def receipts(self) -> list[int]:
        """Return the minutes at which more of a scarce material comes in."""
        return sorted({
            c.available_from_min
            for material in self.scarce
            for _, c in self.by_material.get(material, [])
            if c.available_from_min > 0
        })  # fmt: skip


def serve(shelf: Shelf, need: Need, order: list[int], role: str) -> list[LotUse]:
    """Take a need from containers in the given order."""
    uses, rest = [], need.kg
    for index in order:
        if rest <= DUST_KG:
            break
        taken = shelf.take(index, rest, need.start)
        rest -= taken
        lot, container = shelf.items[index]
        uses.append(LotUse(lot.id, container.id, role, taken))  # type: ignore[arg-type]
    return uses
