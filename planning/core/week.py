"""
Plan a week: from a `Problem` to a `Plan`.

Also a command that needs no database: ``python -m planning.core.week problem.json > plan.json``.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from planning.core.plain import FormError, dumps, loads
from planning.core.plan import Plan, Problem, Unplaced
from planning.core.solver import answer, search
from planning.core.solver.board import LATE_MINUTE, Board
from planning.core.solver.case import Case
from planning.core.solver.stock import first_expired

INSERTIONS_PER_SECOND = 150


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

    Returns
    -------
    Plan
        Keeps every rule in `planning.core.plan`. Pours that do not fit are in `unplaced`.
    """
    clock = _Clock(problem.limits.seconds, stop)
    case = Case(problem)
    prices = search.Prices(late_minute=_late_minute(problem))
    work = problem.limits.work
    if work is None:
        work = int(problem.limits.seconds * INSERTIONS_PER_SECOND)
    meter = search.Meter(max(work, 1), clock.expired)
    board = search.start(case, case.empty, prices, meter, passes=4)
    best = search.improve(case, board, prices, meter, problem.limits.seed)
    lots = first_expired(case.stock, best)
    return answer.make_plan(case, best, lots, _unplaced(case, best))


class _Clock:
    """The final cut by wall-clock time, and the request to stop."""

    def __init__(self, seconds: float, stop: Callable[[], bool] | None) -> None:
        self.until = time.monotonic() + seconds
        self.stop = stop

    def expired(self) -> bool:
        return time.monotonic() >= self.until or (self.stop is not None and self.stop())

    def left(self) -> float:
        return max(0.0, self.until - time.monotonic())


def _late_minute(problem: Problem) -> float:
    rate = problem.settings.late_minutes_per_pot
    return LATE_MINUTE if not rate else 1 / rate


def _unplaced(case: Case, board: Board) -> tuple[Unplaced, ...]:
    found = []
    for job in case.jobs:
        if job.index in board.placed:
            continue
        if job.trouble:
            rule, words, change = job.trouble
            found.append(Unplaced(job.pour.id, rule, words, change))
            continue
        try:
            search.place(case, board, job.index, search.Prices().taste())
        except search.Blocked as blocked:
            found.append(Unplaced(job.pour.id, blocked.rule, f"{job.pour.id}: {blocked.rule}."))
        else:
            found.append(Unplaced(job.pour.id, "horizon", f"{job.pour.id}: not placed."))
    return tuple(found)


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
