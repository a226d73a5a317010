"""Ways to plan that are compared: as the product does, anew each week, earliest due first."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any
from unittest import mock

from planning.core.plan import Plan, Problem
from planning.core.solver import answer, explain, replan
from planning.core.solver.case import Case
from planning.core.solver.lots import give_out
from planning.schedule import snapshot
from tests.benchmarks.bench_week import naive

ARMS = {
    "kept": "one living plan",
    "anew": "made anew each Monday, mended between",
    "edd": "earliest due first",
}


@contextmanager
def arm_of(arm: str, is_anew: Callable[[], bool]) -> Iterator[None]:
    """Let the product plan in one of the ways."""
    if arm == "edd":
        with mock.patch("planning.core.week.plan_week", earliest_due_first):
            yield
    elif arm == "anew":
        usual = snapshot.previous_plan

        def previous(*given: Any) -> Plan | None:
            return None if is_anew() else usual(*given)

        with mock.patch("planning.schedule.snapshot.previous_plan", previous):
            yield
    else:
        yield


def earliest_due_first(problem: Problem, *_: Any, **__: Any) -> Plan:
    """Plan pours in the order of their due dates, each lift from pots of its own."""
    case = Case(problem)
    board = naive(case, fill_gaps=True)
    plan = answer.make_plan(case, board, give_out(case, board), explain.rules(case, board), 0, 0)
    return replace(plan, moves=replan.moves(case, plan))
