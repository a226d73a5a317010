"""A resin system's clocks, looked up by minute."""

from __future__ import annotations

from bisect import bisect_right

from planning.core.batches import poured_kg
from planning.core.plan import plannable_min
from planning.core.problem import Condition, System


class Chemistry:
    """A system's clocks, looked up by minute."""

    def __init__(self, index: int, system: System, factor: float) -> None:
        self.index = index
        self.system = system
        self.usable_kg = 1.0
        """What the largest pot pours under the kindest condition, kg."""
        self._from = [c.from_min for c in system.conditions]
        self.conditions = system.conditions
        self.life = [plannable_min(c.pot_life_min, factor) for c in system.conditions]
        self.least_kg = poured_kg(system, system.least_batch_kg)
        self.most_tools = system.most_tools_per_batch
        ends: list[int | None] = [*self._from[1:], None]
        begins = [0, *self._from[1:]]
        self._segments = [(f, e, i) for i, (f, e) in enumerate(zip(begins, ends, strict=True))]

    def _at(self, minute: int) -> int:
        return max(0, bisect_right(self._from, minute) - 1)

    def at(self, minute: int) -> Condition:
        return self.conditions[self._at(minute)]

    def life_min(self, contact: int) -> int:
        return self.life[self._at(contact)]

    def gel_min(self, contact: int) -> int:
        return self.conditions[self._at(contact)].gel_limit_min

    def segments(self) -> list[tuple[int, int | None, int]]:
        """Return (from, to, index) of each condition; the first one reaches back to 0."""
        return self._segments
