"""A pour as the solver sees it: its lifts, portions, steps and what of them is fixed."""

from __future__ import annotations

from dataclasses import dataclass, field

from planning.core.plan import Batch, Lift, Portion, Stand, Task, portion_min
from planning.core.problem import LiftWindow, Pour, Step
from planning.core.solver.chemistry import Chemistry
from planning.core.solver.gaps import Gaps, gaps_over


@dataclass(frozen=True)
class StepJob:
    """A step with the people who can do it, and its task where that is frozen."""

    step: Step
    kind: str
    units: tuple[int, ...]
    fixed: Task | None


@dataclass(frozen=True)
class LiftJob:
    """A lift still to be poured; `divisions` are ways to portion what is left of it."""

    lift: Lift
    divisions: tuple[tuple[float, ...], ...]
    fixed: tuple[tuple[Batch, Portion], ...]
    abraded: Task | None = None


@dataclass
class Job:
    """A pour to plan."""

    index: int
    pour: Pour
    chemistry: Chemistry
    before: tuple[StepJob, ...]
    after: tuple[StepJob, ...]
    lifts: tuple[LiftJob, ...]
    parent: int | None
    stand: Stand | None
    children: list[int] = field(default_factory=list)
    dues: list[tuple[int, int]] = field(default_factory=list)
    """(due of this pour, weight): its own and those of the pours that stand on it."""
    trouble: tuple[str, str] | None = None
    """(rule, words) when it cannot be planned at all."""
    cure_min: int = 0
    tail_min: int = 0
    """Least time from the end of pouring the last lift to done."""
    keeps_place: bool = False
    """A pour that stands on it stays in its place."""
    _gaps: dict[int, Gaps] = field(default_factory=dict, repr=False, compare=False)

    @property
    def begun_to(self) -> int:
        """The end of its frozen stand, 0 where it has none."""
        return 0 if self.stand is None else self.stand.end_min

    def gap(self, index: int, end: int) -> tuple[int, int]:
        """Return from when until when a lift may follow the one below, poured by `end`."""
        known = self.window(index)
        if known is not None:
            return known.opens_min, known.closes_min
        gap = self.gaps(index).at(end)
        return end + gap.least, end + gap.greatest

    def window(self, index: int) -> LiftWindow | None:
        """Return what is told by the clock that runs below a lift, if one does."""
        known = self.pour.window
        return known if known and known.lift == self.lifts[index].lift.lift else None

    def gaps(self, index: int) -> Gaps:
        """Return the gaps between a lift, not the first, and the one below it."""
        if index not in self._gaps:
            below = self.lifts[index - 1].lift
            self._gaps[index] = gaps_over(self.pour, below, self.chemistry.system)
        return self._gaps[index]

    def least_gap_min(self, index: int) -> int:
        """Return the shortest that the gap below a lift can be; 0 where it is not known."""
        return self.gaps(index).least if index and self.window(index) is None else 0

    @property
    def mass_kg(self) -> float:
        return sum(d for lift in self.lifts for d in lift.divisions[0]) if self.lifts else 0.0


def head_min(job: Job) -> int:
    """Return the least time from the first work of a pour to the end of its last lift, min."""
    steps = sum(s.step.hands_min + s.step.wait_min for s in job.before if s.fixed is None)
    rate = job.chemistry.system.pour_rate_kg_min
    gaps = sum(job.least_gap_min(index) for index in range(len(job.lifts)))
    pouring = sum(portion_min(k, rate) for lift in job.lifts for k in lift.divisions[0])
    return steps + gaps + pouring
