"""How good purchase proposals are: random cases, and larger ones beside textbook rules."""

from __future__ import annotations

import argparse
import json
import math
import re
import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from shop.core.buying_plan import BuyingPlan, NoPlan
from shop.core.buying_program import best_plan
from tests.shop.core.buying_cases import case, cheapest_by_another_solver, check_by_hand
from tests.shop.core.textbook_rules import RULES, cost_by

RESULTS = Path(__file__).parent / "results" / "proposals.md"
SECONDS = 1.8


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=300)
    parser.add_argument("--larger", type=int, default=200)
    parser.add_argument("--larger-from", type=int, default=10_000, help="seed of the first")
    parser.add_argument("--checked", type=int, default=0, help="cases for the other solver")
    parser.add_argument("--other-seconds", type=float, default=60.0)
    parser.add_argument(
        "--kept", type=Path, help="file of cases checked: what it holds is not redone"
    )
    parser.add_argument("--results", type=Path, default=RESULTS)
    told = parser.parse_args()
    if told.larger:
        kind = f"larger cases from seed {told.larger_from}:"
        _write(told.results, kind, _larger(told.larger, told.larger_from))
    if told.cases:
        _write(told.results, "random cases", _cases(told.cases))
    if told.checked:
        part = _checked(told.checked, told.other_seconds, told.kept)
        _write(told.results, "cases beside another solver", part)


def _write(path: Path, kind: str, part: Iterable[str]) -> None:
    """Put a part in the place of the one of its kind; the others stay as they are."""
    text = path.read_text() if path.exists() else HEAD + "\n" + FOOT
    own = "\n".join(part) + "\n"
    parts = re.split(r"(?m)^(?=## )", text.removesuffix(FOOT))
    kept = [p for p in parts[1:] if kind not in p.partition("\n")[0]]
    path.write_text(
        "".join([HEAD + "\n", *sorted([*kept, own], key=lambda p: (_place(p), p)), FOOT])
    )


def _place(part: str) -> int:
    kinds = ("random cases", "cases beside another solver", "larger cases")
    return next(n for n, kind in enumerate(kinds) if kind in part.partition("\n")[0])


def _solved(seed: int, **shape: object) -> tuple[BuyingPlan | None, float]:
    line, terms = case(seed, **shape)
    begun = time.perf_counter()
    try:
        plan = best_plan([line], terms, seconds=SECONDS)
    except NoPlan:
        return None, time.perf_counter() - begun
    took = time.perf_counter() - begun
    exact = float(check_by_hand(line, terms, plan.arrivals))
    assert abs(exact - plan.cost) < 1e-6, f"case {seed}: {exact} by hand, {plan.cost} told"
    return plan, took


def _cases(count: int) -> Iterator[str]:
    found = [_solved(seed) for seed in range(count)]
    settled = [took for plan, took in found if plan is None or plan.proven]
    gaps = sorted((100 * plan.gap for plan, _ in found if plan and not plan.proven), reverse=True)
    times = sorted(took for _, took in found)
    refused = sum(plan is None for plan, _ in found)
    in_time = sum(took <= 2.0 for took in settled)
    yield f"## {count} random cases\n"
    yield "| | |\n|---|---|"
    yield f"| plans feasible in exact arithmetic | {count - refused} of {count - refused} |"
    yield f"| refused as impossible | {refused} |"
    yield f"| proven, or refused, within 2 s | {in_time} ({100 * in_time / count:.1f} %) |"
    largest = ", ".join(f"{gap:.2f}" for gap in gaps[:6]) or "none"
    yield f"| largest gaps of the others, % | {largest} |"
    yield f"| half of the cases took at most | {times[count // 2]:.2f} s |"
    yield f"| the longest | {times[-1]:.2f} s |\n"


def _larger(count: int, start: int) -> Iterator[str]:
    beaten, feasible = dict.fromkeys(RULES, 0), dict.fromkeys(RULES, 0)
    more = dict.fromkeys(RULES, 0.0)
    proven = none = 0
    worse: list[str] = []
    for seed in range(start, start + count):
        plan, _ = _solved(seed, needs=(50, 90), weeks=52)
        proven += plan is not None and plan.proven
        none += plan is None
        line, terms = case(seed, needs=(50, 90), weeks=52)
        for rule in RULES:
            cost = cost_by(rule, line, terms)
            if cost is not None:
                feasible[rule] += 1
                # A rule that finds a purchase where the product finds none beats it.
                if plan is None or cost < plan.cost - 0.005:
                    beaten[rule] += 1
                    worse.append(f"{seed} {rule.__name__} {cost:.2f} {plan and plan.cost}")
                more[rule] += cost / plan.cost - 1 if plan else 0.0
    yield f"## {count} larger cases from seed {start}: 50 to 90 needs in 52 weeks\n"
    yield f"{proven} of the plans are proven; no plan was found for {none}.\n"
    yield "| rule | cases in which it keeps all rules | dearer on average, % | beats the plan |"
    yield "|---|---|---|---|"
    for rule in RULES:
        name, n = rule.__name__.replace("_", " "), feasible[rule]
        yield f"| {name} | {n} | {100 * more[rule] / max(1, n):.1f} | {beaten[rule]} |"
    yield ""
    if worse:
        yield f"Beaten: {'; '.join(worse)}.\n"


def _checked(count: int, seconds: float, kept: Path | None) -> Iterator[str]:
    rows: dict[int, dict[str, Any]] = {}
    for text in kept.read_text().splitlines() if kept and kept.exists() else ():
        rows[json.loads(text)["seed"]] = json.loads(text)
    for seed in range(count):
        if seed not in rows:
            rows[seed] = _beside_another(seed, seconds)
            if kept:
                with kept.open("a") as file:
                    file.write(json.dumps(rows[seed]) + "\n")
    found = [rows[seed] for seed in range(count)]
    proven = [r for r in found if r["proven"]]
    wrong = [
        r["seed"] for r in proven if r["other"] < r["cost"] - 0.02 or r["bound"] > r["cost"] + 0.02
    ]
    settled = sum(r["other"] - r["bound"] <= 0.02 for r in proven)
    beaten = [r["seed"] for r in found if not r["proven"] and r["other"] < r["cost"] - 0.02]
    yield f"## {count} cases beside another solver\n"
    yield f"Seeds 0 to {count - 1}, CP-SAT on one core, {seconds:g} s each.\n"
    yield "| | |\n|---|---|"
    yield f"| plans called proven, or refused | {len(proven)} of {count} |"
    yield f"| of these, proven to 0.02 by the other solver too | {settled} |"
    yield f"| of these, wrong: the other cheaper or its bound dearer | {len(wrong)} {wrong or ''}|"
    yield f"| plans not proven, the other found a cheaper one | {len(beaten)} {beaten or ''} |\n"


def _beside_another(seed: int, seconds: float) -> dict[str, Any]:
    plan, _ = _solved(seed)
    line, terms = case(seed)
    other, bound = cheapest_by_another_solver(line, terms, seconds=seconds)
    return {
        "seed": seed,
        "proven": plan is None or plan.proven,  # refused is said as surely as proven
        "cost": plan.cost if plan else math.inf,
        "other": other,
        "bound": bound,
    }


HEAD = """# Purchase proposals, measured

Random materials of `tests/shop/core/buying_cases.py`: 1 to 4 packs of any size, breaks, least
packs, shelf life, least value of an order, freight, closed days and days in hand; 1 to 40 needs in
26 weeks. Every plan is served day by day again by a checker that shares no code with the product,
and its cost is worked out in fractions. *Proven*: the cost is at most 0.01 above the bound. Gap:
what a plan may be too dear, of its cost.
"""
FOOT = """Two cores with other work running, Python 3.11; beside the other solver and in the larger
cases so much of it that fewer plans were proven in time than on cores of their own.

    python -m tests.benchmarks.bench_proposals
    python -m tests.benchmarks.bench_proposals --cases 0 --larger 0 --checked 300 --kept FILE
"""

if __name__ == "__main__":
    main()
