"""
Plan a week: from a `Problem` to a `Plan`.

Also a command that needs no database: ``python -m planning.core.week problem.json > plan.json``.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from planning.core.plain import FormError, dumps, loads
from planning.core.plan import Plan, Problem
from planning.core.solver import answer, bounds, explain, replan, search
from planning.core.solver.board import LATE_MINUTE, Board
from planning.core.solver.carry import carry_over
from planning.core.solver.case import Case
from planning.core.solver.lots import give_out
from planning.core.solver.prices import Prices
from planning.core.solver.retime import retime
from planning.core.solver.turns import take_turns

CUT = "The clock ended the search; run again it may find another plan. Raise the seconds for more."
INSERTIONS_PER_SECOND = 1100
"""For a week of 60 pours; larger ones take longer, see `usual_work`."""
HANDFUL = 12
MOST_LET_GO = 4
"""Times that a first board is made anew without work held in vain."""
RETIME_WORK = 0.05
"""Deterministic work of CP-SAT for each second of the limit."""
QUICK_SECONDS = 2.0
"""With less time than this the pots are bounded by mass alone."""


@dataclass(frozen=True)
class Progress:
    """How a search stands; figures of the best plan so far and what is proven about them."""

    stage: str
    unplaced: int
    lateness: int
    pots: int
    lateness_bound: int
    pots_bound: int
    seconds_left: float
    work_done: int
    work: int


Listener = Callable[[Progress], None]


def plan_week(
    problem: Problem,
    progress: Listener | None = None,
    stop: Callable[[], bool] | None = None,
    reasons: bool = True,
) -> Plan:
    """
    Plan one site's week.

    Parameters
    ----------
    problem : Problem
        What is asked and what there is; its settings and limits say how to plan.
    progress : callable, optional
        Called with a `Progress` whenever a better plan is found.
    stop : callable, optional
        Asked often; once it says True the best plan so far is returned.
    reasons : bool
        False leaves pours without a place with the rule alone: what would help them is not tried.

    Returns
    -------
    Plan
        Keeps every rule in `planning.core.plan`. Pours that do not fit are in `unplaced`.
    """
    return Planner(problem, progress, stop).plan(reasons)


def usual_work(problem: Problem) -> int:
    """
    Return the insertions that usually fit into the seconds given, on two shared cores.

    A week of a handful of pours has few ways to go about it, and is not searched as long.
    """
    count = len(problem.pours)
    rate = INSERTIONS_PER_SECOND * (60 / max(48, count)) ** 0.7 * min(1.0, count / HANDFUL)
    return max(1, int(problem.limits.seconds * rate))


class Planner:
    """One run: construct, improve, bound, give out material, explain."""

    def __init__(
        self, problem: Problem, progress: Listener | None, stop: Callable[[], bool] | None
    ) -> None:
        self.problem = problem
        self.tell = progress
        self.clock = _Clock(problem.limits.seconds, stop)
        work = problem.limits.work
        self.meter = search.Meter(
            usual_work(problem) if work is None else work, self.clock.expired
        )
        self.case = Case(problem)
        self.prices = Prices.of(self.case)
        self.alone = bounds.Alone(self.case)
        self.pots_bound = bounds.pots_by_mass(self.case)
        self.stage = "construct"

    def plan(self, reasons: bool = True) -> Plan:
        """Return the plan, with what would help the pours it leaves out if `reasons` are asked."""
        best = self._construct()
        case = self.case
        self.stage = "improve"
        if self.problem.previous is None:  # a week made anew would move what is planned
            best = take_turns(
                case, best, self.prices, self.meter, self.alone.late,
                self.problem.limits.seed, self._told,
            )  # fmt: skip
        late = self.alone.lateness
        best = search.improve(
            case, best, self.prices, self.meter, self.problem.limits.seed,
            self._told, late, self._bound_pots, self._retimed,
        )  # fmt: skip
        best = search.without_light(case, best)
        self.stage = "finish"
        self._told(best)
        plan = answer.make_plan(
            case, best, give_out(case, best), explain.rules(case, best),
            self.alone.lateness_of(best.placed), self.pots_bound,
        )  # fmt: skip
        if reasons:
            told = explain.with_changes(self.problem, plan, self.clock.grace(0.2))
            plan = replace(plan, unplaced=told)
        notes = [CUT] if self.meter.cut or self.clock.cut else []
        moves = replan.moves(case, plan)
        return replace(plan, moves=moves, notes=tuple(notes))

    def _construct(self) -> Board:
        """
        Return a first board, on top of what the previous plan leaves.

        What was held for the sake of a frozen pot is let go where its pour has no place that way.
        """
        let_go: frozenset[str] = frozenset()
        for turn in range(1, MOST_LET_GO + 1):
            passes = 4 if len(self.case.jobs) <= 150 else 2
            begun = carry_over(self.case, self.prices)
            best = search.start(self.case, begun, self.prices, self.meter, passes, self._told)
            vain = self.case.held_in_vain(best.placed)
            if not vain or turn == MOST_LET_GO:
                break
            let_go |= vain
            self.case = Case(self.problem, let_go)
            self.prices = Prices.of(self.case)
            self.alone = bounds.Alone(self.case)
            self.pots_bound = bounds.pots_by_mass(self.case)
        return best

    def _retimed(self, board: Board) -> Board:
        """Time the board anew where that could make it less late and there is time for it."""
        seconds = self.problem.limits.seconds
        if seconds < QUICK_SECONDS or board.late <= self.alone.lateness_of(board.placed):
            return board
        over, most = self.clock.part(0.2), 0.2 * self.clock.left()
        found = retime(self.case, board, self.prices, RETIME_WORK * seconds, most)
        over()
        return found

    def _bound_pots(self, board: Board) -> int:
        """Bound the pots of plans no later than this board."""
        problem = self.problem
        if problem.limits.seconds >= QUICK_SECONDS:
            strict = self.prices.late_minute == LATE_MINUTE
            complete = len(board.placed) == len(self.case.jobs)
            late = board.late if strict and complete else None
            if complete:
                self.pots_bound = max(
                    self.pots_bound,
                    bounds.pots_bound(self.case, self.alone, late, self.clock.part(0.25)),
                )
            self._told(board)
        return self.pots_bound - len(self.case.frozen.batches)

    def _told(self, board: Board) -> None:
        if self.tell is None:
            return
        self.tell(
            Progress(
                stage=self.stage,
                unplaced=len(self.case.jobs) - len(board.placed),
                lateness=board.late,
                pots=board.pot_count + len(self.case.frozen.batches),
                lateness_bound=self.alone.lateness,
                pots_bound=self.pots_bound,
                seconds_left=self.clock.left(),
                work_done=self.meter.done,
                work=self.meter.work,
            )
        )


class _Clock:
    """The final cut by wall-clock time, and the request to stop."""

    def __init__(self, seconds: float, stop: Callable[[], bool] | None) -> None:
        self.seconds = seconds
        self.until = time.monotonic() + seconds
        self.stop = stop
        self.cut = False
        """Some part of the planning was ended by the clock."""

    def expired(self) -> bool:
        return time.monotonic() >= self.until or (self.stop is not None and self.stop())

    def grace(self, share: float) -> Callable[[], bool]:
        """Return what says that the time, and a share of it more, is over."""
        self.until = max(self.until, time.monotonic()) + share * self.seconds
        return self.part(1.0)

    def part(self, share: float) -> Callable[[], bool]:
        """Return what says that a share of the time still left is over, or that someone stops."""
        until = time.monotonic() + share * self.left()

        def over() -> bool:
            late = time.monotonic() >= until
            self.cut = self.cut or late
            return late or (self.stop is not None and self.stop())

        return over

    def left(self) -> float:
        return max(0.0, self.until - time.monotonic())


def main(arguments: list[str]) -> int:
    """Read a problem file, write its plan; say what is wrong with the file and return 2."""
    if len(arguments) != 1:
        sys.stderr.write("usage: python -m planning.core.week problem.json > plan.json\n")
        return 2
    try:
        problem = loads(Problem, Path(arguments[0]).read_text(encoding="utf-8"))
    except (OSError, FormError) as error:
        sys.stderr.write(f"{arguments[0]}: {error}\n")
        return 2
    sys.stdout.write(dumps(plan_week(problem)))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
