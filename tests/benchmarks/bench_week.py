"""
Measure the planner on invented weeks and write the table.

``python -m tests.benchmarks.bench_week 60:10 60:60 120:60 250:60 500:60 --seeds 1``

Each line is planned in a process of its own, so that its memory is its own. The search is limited
by insertions (what usually fits into the seconds on idle cores) and the time told is processor
time of that one thread: other work on the machine hardly changes it.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import resource
import subprocess
import sys
import time
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from planning.core.check import check
from planning.core.problem import Limits
from planning.core.solver import nearby, search
from planning.core.solver.board import Blocked, Board
from planning.core.solver.case import Case
from planning.core.solver.insertion import insert
from planning.core.solver.prices import Prices
from planning.core.week import plan_week, usual_work
from tests.benchmarks.generator import week

RESULTS = Path(__file__).parent / "results"


def naive(case: Case, fill_gaps: bool) -> Board:
    """
    Earliest due first, own batches for each lift, no sharing.

    Without `fill_gaps` pours are begun in that order: none is begun before the one ahead of it in
    the list, as when one list is worked off from the top. With it a pour goes into any gap that
    is left, which takes a good planner's eye and much patience.
    """
    pours = case.problem.pours
    by_due = sorted(range(len(pours)), key=lambda i: (pours[i].due_min, i))
    prefer = Prices().prefer(sharing=False)
    board, low = case.empty, 0
    for index in search.in_order(case, by_due):
        try:
            board = insert(case.shop, board, case.jobs[index], prefer, low)
        except Blocked:
            continue
        if not fill_gaps and case.jobs[index].parent is None:
            low = max(low, min(nearby.moments_of(case, board, index)))
    return board


def measure(pours: int, seconds: float, seed: int) -> dict[str, object]:
    """Plan one week four ways."""
    problem = replace(week(pours, seed), limits=Limits(seconds, seed))
    begun = time.process_time()
    case = Case(problem)
    meter = search.Meter(10**9, lambda: False)
    first = search.start(case, case.empty, Prices(), meter, 1)
    first_s = time.process_time() - begun
    listed, plain = (naive(Case(problem), fill_gaps) for fill_gaps in (False, True))
    begun, wall = time.process_time(), time.monotonic()
    work = usual_work(problem)
    plan = plan_week(replace(problem, limits=Limits(3600.0, seed, work=work)))
    row: dict[str, object] = {
        "pours": pours,
        "seed": seed,
        "seconds": seconds,
        "cpu_s": round(time.process_time() - begun, 1),
        "wall_s": round(time.monotonic() - wall, 1),
        "first_s": round(first_s, 2),
        "listed": [pours - len(listed.placed), listed.late, listed.pot_count],
        "naive": [pours - len(plain.placed), plain.late, plain.pot_count],
        "first": [pours - len(first.placed), first.late, first.pot_count],
        "plan": [plan.figures.unplaced, plan.figures.lateness, plan.figures.pots],
        "bound": [plan.figures.lateness_bound, plan.figures.pots_bound],
        "residue_kg": round(plan.figures.residue_kg, 1),
        "violations": len(check(problem, plan)),
        "work": work,
        "measured": f"{datetime.now(UTC):%Y-%m-%d}",
    }
    row["memory_mb"] = round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
    return row


def table(rows: list[dict[str, object]]) -> str:
    """Return the rows as a Markdown table."""
    lines = [
        "| pours | seed | limit s | lateness listed → gaps filled → first → plan (bound) "
        "| pots naive → first → plan (bound) | unplaced listed / gaps filled / plan | residue kg "
        "| first plan s | processor s | wall s | MB | violations | measured |",
        "|---|---|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    for r in sorted(rows, key=lambda r: (r["pours"], r["seconds"], r["seed"])):  # type: ignore[arg-type,return-value]
        o, n, f, p, b = r["listed"], r["naive"], r["first"], r["plan"], r["bound"]
        lines.append(
            f"| {r['pours']} | {r['seed']} | {r['seconds']:g} "
            f"| {o[1]:,} → {n[1]:,} → {f[1]:,} → {p[1]:,} ({b[0]:,}) "  # type: ignore[index]
            f"| {n[2]} → {f[2]} → {p[2]} ({b[1]}) "  # type: ignore[index]
            f"| {o[0]} / {n[0]} / {p[0]} | {r['residue_kg']} "  # type: ignore[index]
            f"| {r['first_s']} | {r['cpu_s']} | {r['wall_s']} | {r['memory_mb']} "
            f"| {r['violations']} | {r.get('measured', 'before')} |"
        )
    return "\n".join(lines)


def summary(rows: list[dict[str, object]]) -> str:
    """Say in a line a size how near to the bounds the plans are."""
    lines = []
    for pours, seconds in sorted({(r["pours"], r["seconds"]) for r in rows}):  # type: ignore[type-var]
        own = [r for r in rows if (r["pours"], r["seconds"]) == (pours, seconds)]
        plans: list[list[int]] = [r["plan"] for r in own]  # type: ignore[misc]
        bounds: list[list[int]] = [r["bound"] for r in own]  # type: ignore[misc]
        met = sum(p[1] == b[0] for p, b in zip(plans, bounds, strict=True))
        over = [p[2] / b[1] for p, b in zip(plans, bounds, strict=True)]
        lines.append(
            f"- {pours} pours, {seconds:g} s: no plan is less late in {met} of {len(own)} weeks; "
            f"pots {min(over):.2f} to {max(over):.2f} times the bound."
        )
    return "\n".join(lines)


def machine() -> str:
    """Describe the machine."""
    model = platform.processor() or platform.machine()
    cpuinfo = Path("/proc/cpuinfo")
    if cpuinfo.exists():
        names = [x for x in cpuinfo.read_text(encoding="utf-8").splitlines() if "model name" in x]
        model = names[0].split(":")[1].strip() if names else model
    load = os.getloadavg()[0]
    return (
        f"{os.cpu_count()} cores, {model}, Python {platform.python_version()}, "
        f"load average {load:.1f} while measuring"
    )


HEAD = """# Measured weeks

Invented weeks of `generator.py`, the same for the same seed. Lateness in weighted minutes. Two
naive rules, both earliest due first with own batches for each lift and no sharing: *listed* begins
the pours in that order, *gaps filled* puts each into the first gap that holds it (both need as
many pots). *First* is the first plan of the constructor; *bound* is proven for the plan's own
lifts. Processor time is that of the planning thread; the limit is what the search is cut to on
idle cores; on busy ones wall time is longer. Rows measured before are of an earlier state.

Machine: {machine}.

{table}

{summary}

The bounds are proven; where a plan is above one, either may be what could be better. The lateness
bound knows no queue for people, ovens or benches, the one on pots no people or mixers, so both are
weakest where a week is crowded.
"""


def main(arguments: list[str]) -> int:
    """Measure what is asked and write `results/week.json` and `results/week.md`."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("runs", nargs="*", help="pours:seconds")
    parser.add_argument("--seeds", default="1")
    parser.add_argument("--one", action="store_true", help="measure one run, print it as JSON")
    options = parser.parse_args(arguments)
    seeds = [int(s) for s in options.seeds.split(",")]
    runs = [tuple(map(float, r.split(":"))) for r in options.runs]
    if options.one:
        sys.stdout.write(json.dumps(measure(int(runs[0][0]), runs[0][1], seeds[0])) + "\n")
        return 0
    for pours, seconds in runs:
        for seed in seeds:
            command = [sys.executable, "-m", "tests.benchmarks.bench_week", "--one"]
            command += [f"{pours:g}:{seconds:g}", "--seeds", str(seed)]
            done = subprocess.run(command, capture_output=True, text=True, check=True)
            keep(json.loads(done.stdout))
    return 0


def keep(row: dict[str, object]) -> None:
    """Add a row to the results, in place of an older one of the same run."""
    RESULTS.mkdir(exist_ok=True)
    path = RESULTS / "week.json"
    rows = json.loads(path.read_text(encoding="utf-8")) if path.exists() else []
    same = ("pours", "seed", "seconds")
    rows = [r for r in rows if any(r[k] != row[k] for k in same)] + [row]
    path.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    text = HEAD.format(machine=machine(), table=table(rows), summary=summary(rows))
    (RESULTS / "week.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
