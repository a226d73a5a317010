"""The same problem, seed and limits give the same plan, byte for byte, in any process."""

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from planning.core.plain import dumps
from planning.core.problem import Limits
from planning.core.week import plan_week
from tests.benchmarks.generator import week

ROOT = Path(__file__).parents[3]


def again():
    """A week planned before, in which somebody is now away: carried over, then mended."""
    problem = replace(week(10, 4), limits=Limits(120, 4, work=40))
    first = plan_week(problem)
    people = tuple(
        replace(p, shifts=p.shifts[2:]) if p.id == problem.people[0].id else p
        for p in problem.people
    )
    return replace(problem, people=people, previous=first)


def short_of_people():
    return replace(week(12, 5, people=1), limits=Limits(120, 5, work=40))


def in_a_process(path: Path, hash_seed: str) -> bytes:
    done = subprocess.run(
        [sys.executable, "-m", "planning.core.week", str(path)],
        env={**os.environ, "PYTHONHASHSEED": hash_seed},
        cwd=ROOT,
        capture_output=True,
        check=True,
    )
    return done.stdout


@pytest.mark.parametrize("make", [short_of_people, again])
def test_two_processes_with_other_hash_seeds_write_the_same_bytes(make, tmp_path):
    path = tmp_path / "problem.json"
    path.write_text(dumps(make()), encoding="utf-8")
    first, second = (in_a_process(path, seed) for seed in ("1", "4242"))
    assert first.startswith(b"{")
    assert first == second
