"""Every plan keeps every rule, whatever the week."""

from dataclasses import replace

import pytest

from planning.core.check import check
from planning.core.plain import dumps, loads
from planning.core.plan import Plan, Problem
from planning.core.problem import Limits
from planning.core.week import main, plan_week
from tests.benchmarks.generator import week


def _quick(pours: int, seed: int, **settings: object) -> Problem:
    return replace(week(pours, seed, **settings), limits=Limits(seconds=20, seed=seed, work=60))


@pytest.mark.parametrize("seed", range(12))
def test_a_random_week_breaks_no_rule(seed):
    problem = _quick(10 + 3 * seed, seed)
    plan = plan_week(problem)
    assert check(problem, plan) == []
    planned = {lift.pour for lift in plan.lifts}
    assert planned | {u.pour for u in plan.unplaced} == {p.id for p in problem.pours}


def test_the_same_problem_gives_the_same_bytes():
    problem = _quick(30, 5)
    assert dumps(plan_week(problem)) == dumps(plan_week(problem))


def test_the_command_writes_the_plan_of_a_file(tmp_path, capsys):
    problem = _quick(12, 3)
    path = tmp_path / "problem.json"
    path.write_text(dumps(problem), encoding="utf-8")
    assert main([str(path)]) == 0
    assert loads(Plan, capsys.readouterr().out) == plan_week(problem)


def test_the_command_names_what_is_wrong_with_a_file(tmp_path, capsys):
    path = tmp_path / "problem.json"
    path.write_text('{"version": 1}', encoding="utf-8")
    assert main([str(path)]) == 2
    assert "origin: missing" in capsys.readouterr().err
