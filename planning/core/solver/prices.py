"""What a board costs: the foreman's prices of lateness, pots and moves."""

from __future__ import annotations

from dataclasses import dataclass, field

from planning.core.solver.board import LATE_MINUTE, TOO_LIGHT, UNPLACED, Board
from planning.core.solver.case import Case
from planning.core.solver.preferences import Preferences

FILL = 4e-4
"""Worth of a thousandth of squared filling, in pots: a full and an empty pot beat two halves."""


@dataclass
class Prices:
    """What the foreman pays, in pots."""

    late_minute: float = LATE_MINUTE
    move: float = 0.0
    move_minutes: float = 0.0
    keep: dict[tuple[int, int], int] = field(default_factory=dict)
    keep_steps: dict[int, dict[str, int]] = field(default_factory=dict)

    @classmethod
    def of(cls, case: Case) -> Prices:
        """Return the prices the settings ask for."""
        settings = case.problem.settings
        rate = settings.late_minutes_per_pot
        return cls(
            late_minute=LATE_MINUTE if not rate else 1 / rate,
            move=settings.move_price if case.problem.previous else 0.0,
            move_minutes=settings.late_minutes_per_move if case.problem.previous else 0.0,
            keep=previous_starts(case),
            keep_steps=previous_steps(case),
        )

    @property
    def move_price(self) -> float:
        """What moving one portion costs in all, in pots."""
        return self.move + self.move_minutes * self.late_minute

    def cost(self, case: Case, board: Board) -> float:
        """Return the cost of a board: unplaced, lateness, pots, moves, then how early it is."""
        unplaced = len(case.jobs) - len(board.placed)
        cost = unplaced * UNPLACED + board.light * TOO_LIGHT + board.late * self.late_minute
        cost += board.pot_count + board.moved * self.move_price
        return cost - board.fill * FILL + board.time * 1e-8

    def prefer(self, **more: object) -> Preferences:
        prefer = Preferences(
            late_minute=self.late_minute, keep=self.keep, move_price=self.move_price,
            keep_steps=self.keep_steps,
        )  # fmt: skip
        for name, value in more.items():
            setattr(prefer, name, value)
        return prefer


def previous_starts(case: Case) -> dict[tuple[int, int], int]:
    """Return when each lift began to be poured in the previous plan, by job and lift."""
    previous = case.problem.previous
    if previous is None:
        return {}
    index_of = {p.id: i for i, p in enumerate(case.problem.pours)}
    starts: dict[tuple[int, int], int] = {}
    for batch in previous.batches:
        for portion in batch.portions:
            if portion.pour in index_of:
                key = (index_of[portion.pour], portion.lift)
                starts[key] = min(portion.start_min, starts.get(key, portion.start_min))
    return starts


def previous_steps(case: Case) -> dict[int, dict[str, int]]:
    """Return when each step was to begin in the previous plan, by job and id of the step."""
    previous = case.problem.previous
    index_of = {p.id: i for i, p in enumerate(case.problem.pours)}
    found: dict[int, dict[str, int]] = {}
    for task in () if previous is None else previous.tasks:
        if task.pour in index_of and task.kind != "abrade":
            found.setdefault(index_of[task.pour], {})[task.step] = task.start_min
    return found
