"""How good purchase proposals are: random cases, and larger ones beside textbook rules."""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from pathlib import Path

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
    parser.add_argument("--checked", type=int, default=60, help="cases for the other solver")
    parser.add_argument("--other-seconds", type=float, default=60.0)
    told = parser.parse_args()
    text = [HEAD]
    for part in (
        _larger(told.larger),
        _cases(told.cases) if told.cases else [],
        _checked(told.checked, told.other_seconds) if told.checked else [],
    ):
        text += part  # written after each part: a run that is stopped keeps what it has done
        RESULTS.write_text("\n".join([*text, FOOT]))


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


def _larger(count: int) -> Iterator[str]:
    beaten, feasible = dict.fromkeys(RULES, 0), dict.fromkeys(RULES, 0)
    more = dict.fromkeys(RULES, 0.0)
    proven = none = 0
    for seed in range(10_000, 10_000 + count):
        plan, _ = _solved(seed, needs=(50, 90), weeks=52)
        proven += plan is not None and plan.proven
        none += plan is None
        line, terms = case(seed, needs=(50, 90), weeks=52)
        for rule in RULES:
            cost = cost_by(rule, line, terms)
            if cost is not None:
                feasible[rule] += 1
                # A rule that finds a purchase where the product finds none beats it.
                beaten[rule] += plan is None or cost < plan.cost - 0.005
                more[rule] += cost / plan.cost - 1 if plan else 0.0
    yield f"## {count} larger cases: 50 to 90 needs in 52 weeks\n"
    yield f"{proven} of the plans are proven; no plan was found for {none}.\n"
    yield "| rule | cases in which it keeps all rules | dearer on average, % | beats the plan |"
    yield "|---|---|---|---|"
    for rule in RULES:
        name, n = rule.__name__.replace("_", " "), feasible[rule]
        yield f"| {name} | {n} | {100 * more[rule] / max(1, n):.1f} | {beaten[rule]} |"
    yield ""


def _checked(count: int, seconds: float) -> Iterator[str]:
    wrong = []
    for seed in range(count):
        plan, _ = _solved(seed)
        line, terms = case(seed)
        other, bound = cheapest_by_another_solver(line, terms, seconds=seconds)
        if plan and plan.proven and (other < plan.cost - 0.02 or bound > plan.cost + 0.02):
            wrong.append(seed)
    yield f"## Another solver\n\nThe first {count} cases, {seconds:g} s each: "
    yield f"a plan wrongly called proven in {len(wrong)} of them {wrong or ''}.\n"


HEAD = """# Purchase proposals, measured

Random materials of `tests/shop/core/buying_cases.py`: 1 to 4 packs of any size, breaks, least
packs, shelf life, least value of an order, freight, closed days and days in hand; 1 to 40 needs in
26 weeks. Every plan is served day by day again by a checker that shares no code with the product,
and its cost is worked out in fractions. *Proven*: the cost is at most 0.01 above the bound. Gap:
what a plan may be too dear, of its cost.
"""
FOOT = """Two cores with other work running, Python 3.11.

    python -m tests.benchmarks.bench_proposals
"""

if __name__ == "__main__":
    main()
