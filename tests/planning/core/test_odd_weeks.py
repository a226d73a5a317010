"""
Odd weeks planned, slipped three times and planned again, judged by the check and an own account.

The build plans some of them. ``python -m tests.planning.core.test_odd_weeks FIRST COUNT
[DESIGN ...]`` plans as many seeds of each design as are asked and prints each breach and crash.

Most of the time of a planning that leaves pours out goes into looking for what would help them,
which changes no plan; so only every fiftieth week looks for it.
"""

from __future__ import annotations

import sys
import traceback

import pytest

from planning.core.check import check
from planning.core.plan import Plan, Problem
from planning.core.week import plan_week
from tests.planning.core.odd_weeks import DESIGNS, odd_week, slipped

TURNS = 3
EXPLAINS = 50
"""Of so many seeds one looks for what would help the pours without a place."""


def account(problem: Problem, plan: Plan) -> list[str]:
    """Return what was lost: a pour, a step of a planned pour, or frozen work that was touched."""
    said = {u.pour for u in plan.unplaced}
    poured: dict[str, float] = {}
    for batch in plan.batches:
        for portion in batch.portions:
            poured[portion.pour] = poured.get(portion.pour, 0.0) + portion.kg
    tasks = {(t.pour, t.kind, t.step) for t in plan.tasks}
    found = []
    for pour in problem.pours:
        if pour.id in said:
            continue
        if abs(poured.get(pour.id, 0.0) - sum(x.mass_kg for x in pour.layers)) > 1e-5:
            found.append(f"{pour.id} is poured {poured.get(pour.id, 0.0)} kg")
        for kind in ("before", "after"):
            found += [
                f"{pour.id} lacks {step.id}"
                for step in getattr(pour, kind)
                if (pour.id, kind, step.id) not in tasks
            ]
    found += [f"{b.id} was touched" for b in problem.frozen.batches if b not in plan.batches]
    found += [f"{t.step} of {t.pour} was touched" for t in problem.frozen.tasks
              if t not in plan.tasks]  # fmt: skip
    return found


def wrongs(design: str, seed: int) -> list[str]:
    """Return every breach of the first plan and of three plans made again."""
    problem = odd_week(design, seed)
    found: list[str] = []
    for turn in range(TURNS + 1):
        plan = plan_week(problem, reasons=seed % EXPLAINS == 0)
        words = [f"{v.rule}: {v.words}" for v in check(problem, plan)] + account(problem, plan)
        found += [f"turn {turn}: {w}" for w in words]
        if found:
            break
        problem = slipped(problem, plan, seed, turn)
    return found


@pytest.mark.parametrize(
    "seed", [*range(16), 101, 126, 136, 1622, 1657, 1785, 1880, 2348, 21064, 21229, 30224, 30608]
)
@pytest.mark.parametrize("design", DESIGNS)
def test_odd_weeks_break_no_rule_and_lose_nothing(design, seed):
    assert wrongs(design, seed) == []


def main(first: int, count: int, designs: list[str]) -> int:
    bad = 0
    for seed in range(first, first + count):
        for design in designs:
            try:
                found = wrongs(design, seed)
            except Exception:
                found = [traceback.format_exc()]
            if found:
                bad += 1
                sys.stdout.write("\n  ".join([f"{design} {seed}", *found[:4]]) + "\n")
        if seed % EXPLAINS == 0:
            sys.stdout.write(f"seeds {first} to {seed} done, {bad} with breaches\n")
        sys.stdout.flush()
    sys.stdout.write(f"{count * len(designs)} weeks, {bad} with breaches\n")
    return bad


if __name__ == "__main__":
    sys.exit(bool(main(int(sys.argv[1]), int(sys.argv[2]), sys.argv[3:] or list(DESIGNS))))
