"""Material in the plan: which pots the containers can serve, and which material is scarce."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from planning.core.batches import mixed_kg
from planning.core.plan import Batch
from planning.core.problem import Container, Lot, System
from planning.core.solver import opening
from planning.core.solver.board import Board
from planning.core.solver.cans import RANKS, Can, Need, Order, Served, serve, walk
from planning.core.solver.job import Job
from planning.core.solver.shop import Shop

MOST_MOMENTS = 16
"""Later starts tried for a pour that the material does not serve."""
MOST_DECIDED = 150_000
"""Pots times cans of the boards of one search for which opening is decided exactly: some 10 s."""


@dataclass(frozen=True)
class Shortage:
    """The first need that no container can serve."""

    need: Need
    rule: str
    short_kg: float


def materials_of(system: System) -> list[str]:
    """Return what a system is mixed from."""
    return [system.resin, system.hardener, *(one.material for one in system.further)]


def parts_kg(system: System, mixed: float) -> list[tuple[str, str, float]]:
    """Return role, material and mass of each component of a mix, kg."""
    others = [(one.name, one.material, one.per_100) for one in system.further]
    others.append(("hardener", system.hardener, system.hardener_per_100))
    whole = 100 + sum(per_100 for _, _, per_100 in others)
    found = [(name, material, mixed * per_100 / whole) for name, material, per_100 in others]
    return [("resin", system.resin, mixed - sum(kg for *_, kg in found)), *found]


class Stock:
    """All containers, and which materials are so plentiful that they need no thought."""

    def __init__(self, shop: Shop, jobs: list[Job], frozen: tuple[Batch, ...]) -> None:
        self.shop = shop
        self.by_material: dict[str, list[tuple[Lot, Container]]] = {}
        for lot in shop.problem.lots:
            for container in lot.containers:
                self.by_material.setdefault(lot.material, []).append((lot, container))
        self.frozen = sorted((b for b in frozen if b.lots), key=lambda b: (b.start_min, b.id))
        self._cans: dict[tuple[str, bool], tuple[list[Can], list[Need]]] = {}
        self._decided: dict[tuple[Need, ...], bool] = {}
        self._pairs_decided = 0
        self.scarce = self._scarce(jobs) if shop.problem.check_lots else set()
        self.scarce_systems = {
            c.index for c in shop.systems
            if self.scarce.intersection(materials_of(c.system))
        }  # fmt: skip

    def _scarce(self, jobs: list[Job]) -> set[str]:
        """Return materials that could fall short, go out of date or come late."""
        most: dict[str, float] = {}
        for job in jobs:
            system = job.chemistry.system
            for lift in job.lifts:
                for kg in max(lift.divisions, key=len):
                    for _, material, part in parts_kg(system, mixed_kg(system, kg)):
                        most[material] = most.get(material, 0.0) + part
        material_of = {lot.id: lot.material for lot in self.shop.problem.lots}
        for batch in self.frozen:
            for use in batch.lots:
                material = material_of.get(use.lot, "")
                most[material] = most.get(material, 0.0) + use.kg
        scarce = set()
        for material, kg in most.items():
            sure = sum(
                c.kg for _, c in self.by_material.get(material, [])
                if c.available_from_min <= 0 and c.usable_until_min >= self.shop.length
                and _life_that_binds(c, self.shop.length) is None
            )  # fmt: skip
            if sure < kg + 1e-6:
                scarce.add(material)
        return scarce

    def cans(self, material: str, alike_as_one: bool = False) -> tuple[list[Can], list[Need]]:
        """
        Return the cans of a material, and what frozen pots take from them.

        Parameters
        ----------
        alike_as_one : bool
            Cans of the same dates whose open life does not bind count as one, which is quicker
            and serves the same pots.
        """
        key = material, alike_as_one
        if key not in self._cans:
            self._cans[key] = self._make_cans(material, alike_as_one)
        return self._cans[key]

    def _make_cans(self, material: str, alike_as_one: bool) -> tuple[list[Can], list[Need]]:
        cans: list[Can] = []
        number: dict[tuple[str, str], int] = {}
        groups: dict[tuple[int, int], int] = {}
        first: dict[tuple[str, str], int] = {}
        for b in self.frozen:
            for use in b.lots:
                first.setdefault((use.lot, use.container), b.start_min)
        for lot, c in self.by_material.get(material, []):
            life = _life_that_binds(c, self.shop.length, first.get((lot.id, c.id)))
            group = (c.available_from_min, c.usable_until_min)
            if alike_as_one and life is None and group in groups:
                one = groups[group]
                cans[one] = cans[one]._replace(kg=cans[one].kg + c.kg)
            else:
                one = len(cans)
                cans.append(Can(lot.id, c.id, c.kg, *group, life, c.opened))
                if life is None:
                    groups[group] = one
            number[lot.id, c.id] = one
        promised = [
            Need(-1, material, use.role, use.kg, b.start_min, b.pour_end_min,
                 number[use.lot, use.container])
            for b in self.frozen for use in b.lots if (use.lot, use.container) in number
        ]  # fmt: skip
        return cans, promised

    def needs(self, board: Board, materials: set[str]) -> list[Need]:
        """Return what the pots on the board take of some materials, in order of weighing."""
        found = []
        for chemistry in self.shop.systems:
            system = chemistry.system
            if not materials.intersection(materials_of(system)):
                continue
            for pot in board.pots[chemistry.index].values():
                for role, material, kg in parts_kg(system, mixed_kg(system, pot.kg)):
                    if material in materials:
                        found.append(Need(pot.id, material, role, kg, pot.start, pot.pour_end))
        found.sort(key=lambda n: (n.start, n.key))
        return found

    def serve(
        self, material: str, needs: list[Need], orders: Iterable[Order]
    ) -> tuple[Served, bool]:
        """
        Give material out to pots, in the first order of taking that serves all of them.

        Returns
        -------
        (served, whole)
            By number of the can in `cans(material)`; not `whole` where some pot goes short.
        """
        cans, promised = self.cans(material)
        served, _ = serve(cans, needs, promised, tuple(orders))
        if served is None:
            served = opening.decided(cans, needs, promised)
        if served is not None:
            return served, True
        return walk(cans, needs, promised, RANKS[0])[0], False

    def shortage(self, board: Board) -> Shortage | None:
        """Return the first need that cannot be served, however the cans are given out."""
        if not self.scarce:
            return None
        own: dict[str, list[Need]] = {}
        for need in self.needs(board, self.scarce):
            own.setdefault(need.material, []).append(need)
        first: Shortage | None = None
        for material, needs in own.items():
            cans, promised = self.cans(material, alike_as_one=True)
            served, short = serve(cans, needs, promised, ())
            if served is not None or short is None or self._decides(material, needs):
                continue
            rule = "lot_mass" if short.left_kg < short.kg - 1e-7 else "lot_date"
            if first is None or short.need.start < first.need.start:
                first = Shortage(short.need, rule, short.kg)
        return first

    def _decides(self, material: str, needs: list[Need]) -> bool:
        """Return whether there is a way after all, where it hangs on when cans are opened."""
        cans, promised = self.cans(material, alike_as_one=True)
        if all(can.life is None for can in cans):
            return False
        key = tuple(needs)
        if key not in self._decided:
            if self._pairs_decided >= MOST_DECIDED:
                return False
            self._pairs_decided += len(cans) * len(needs)
            self._decided[key] = opening.decided(cans, needs, promised) is not None
        return self._decided[key]

    def moments(self, board: Board, short: Shortage, after: int) -> list[int]:
        """
        Return minutes later than `after` from which on a need that went short might be served.

        More comes in then, or a can opened then still keeps for a pot that is weighed later.
        """
        material = short.need.material
        cans, promised = self.cans(material)
        found = {can.since for can in cans}
        lives = {can.life for can in cans if can.life is not None}
        if lives:
            ends = {n.pour_end for n in (*self.needs(board, {material}), *promised)}
            found |= {end - life for end in ends for life in lives}
        later = sorted(at for at in found if at > after)
        return later[:MOST_MOMENTS]


def _life_that_binds(container: Container, length: int, used: int | None = None) -> int | None:
    """Return the open life of a sealed container where opening it costs some of its time."""
    life = container.open_life_min
    if container.opened or life is None:
        return None
    soonest = max(0, container.available_from_min)
    if used is not None:
        soonest = min(soonest, used)
    if soonest + life >= min(length, container.usable_until_min):
        return None
    return life
