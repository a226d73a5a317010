"""
Measure how gently a week of 60 pours is planned again, and write the table.

``python -m tests.benchmarks.bench_replan [--crews 5,4,3] [--seeds 1,2,3]``

On the second morning two rush pours come in and one of the crew is away for two days. What began
before that morning is frozen.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import replace
from pathlib import Path

from planning.core.check import check
from planning.core.plan import Plan, Problem
from planning.core.problem import Limits
from planning.core.week import plan_week, usual_work
from planning.core.whatif import without_person
from tests.benchmarks.bench_week import machine
from tests.benchmarks.generator import week

DAY = 1440
MORNING = DAY + 420
POURS = 60
SECONDS = 10.0
AWAY = "T1"

HEAD = """# Weeks planned again

Invented weeks of 60 pours of `generator.py`. On the second morning two rush pours come in (weight
3, due on the fourth day) and one of the crew is away for two days; what began before that morning
is frozen. *Own* are the portions of the plan before whose pot the missing person was to mix then.
Steps are coats, barriers, demoulding and the like. A move is worth 120 weighted late minutes here,
the usual setting; lateness in weighted minutes.

Machine: {machine}.

| crew | seed | portions moved | own | steps moved | lateness before → after (bound) | pots before → after | unplaced | moves without a reason | processor s | violations |
|---|---|---|---|---|---|---|---|---|---|---|
{rows}
"""  # noqa: E501


def portions(plan: Plan) -> dict[tuple[str, int, float, int], tuple[str, ...]]:
    """Return the people at each portion, by pour, lift, mass and start."""
    return {
        (p.pour, p.lift, p.kg, p.start_min): b.people for b in plan.batches for p in b.portions
    }


def steps(plan: Plan) -> dict[tuple[str, str], int]:
    """Return the start of each step."""
    return {(t.pour, t.step): t.start_min for t in plan.tasks if t.step}


def slipped(problem: Problem, plan: Plan) -> Problem:
    """Return the week on its second morning."""
    rush = tuple(
        replace(p, id=f"{p.id}-rush", stands_on=None, same_place=False, earliest_min=MORNING,
                due_min=3 * DAY + 1020, weight=3)
        for p in problem.pours[:2]
    )  # fmt: skip
    settings = replace(problem.settings, freeze_until_min=MORNING)
    after = without_person(problem, AWAY, DAY, 3 * DAY)
    return replace(after, pours=(*problem.pours, *rush), previous=plan, settings=settings)


def measure(crew: int, seed: int) -> str:
    """Plan a week, let it slip, plan it again; return a row of the table."""
    problem = replace(week(POURS, seed, people=crew), limits=Limits(SECONDS, seed))
    work = usual_work(problem)
    problem = replace(problem, limits=Limits(3600.0, seed, work=work))
    plan = plan_week(problem)
    after = slipped(problem, plan)
    begun = time.process_time()
    found = plan_week(after)
    seconds = time.process_time() - begun
    before, now = portions(plan), portions(found)
    moved = [key for key in before if key not in now]
    own = sum(AWAY in crew and MORNING <= key[3] < 3 * DAY for key, crew in before.items())
    old, new = steps(plan), steps(found)
    moved_steps = sum(new.get(key) != start for key, start in old.items())
    told = {m.pour for m in found.moves if m.reason}
    return (
        f"| {crew} | {seed} | {len(moved)} of {len(before)} ({len(moved) / len(before):.1%}) "
        f"| {own} ({own / len(before):.1%}) | {moved_steps} of {len(old)} "
        f"| {plan.figures.lateness:,} → {found.figures.lateness:,} "
        f"({found.figures.lateness_bound:,}) | {plan.figures.pots} → {found.figures.pots} "
        f"| {found.figures.unplaced} | {sum(key[0] not in told for key in moved)} "
        f"| {seconds:.1f} | {len(check(after, found))} |"
    )


def main(arguments: list[str]) -> int:
    """Measure what is asked and write `results/replan.md`."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--crews", default="5,4,3")
    parser.add_argument("--seeds", default="1,2,3")
    options = parser.parse_args(arguments)
    rows = [
        measure(int(crew), int(seed))
        for crew in options.crews.split(",")
        for seed in options.seeds.split(",")
    ]
    text = HEAD.format(machine=machine(), rows="\n".join(rows))
    (Path(__file__).parent / "results" / "replan.md").write_text(text, encoding="utf-8")
    sys.stdout.write(text)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
