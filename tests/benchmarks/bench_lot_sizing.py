"""
Time the buying plan and the textbook plan, and say what the plan saves: run this file.

    python -m tests.benchmarks.bench_lot_sizing [--materials 200]
"""

import argparse
import random
import statistics
import time

from shop.core import lot_sizing
from shop.core.buying_plan import Costs, Demand, best_plan, need_by_need
from shop.core.pack_prices import Pack


def material(seed: int) -> tuple[list[Demand], list[Pack], Costs]:
    rng = random.Random(seed)
    days = sorted(rng.sample(range(5, 365), rng.randint(10, 60)))
    demands = [Demand(d, d - d % 7, round(rng.uniform(0.5, 30), 3)) for d in days]
    packs = [
        Pack("can", 5.0, ((1, 62.0), (4, 58.0))),
        Pack("drum", 25.0, ((1, 270.0), (4, 240.0))),
    ]
    return demands, packs, Costs(25.0, 0.006, rng.choice([None, 90, 180, 365]))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--materials", type=int, default=200)
    count = parser.parse_args().materials
    times, saved, proven, wasted = [], [], 0, [0.0, 0.0]
    for seed in range(count):
        demands, packs, costs = material(seed)
        start = time.perf_counter()
        plan = best_plan(demands, packs, costs)
        times.append(time.perf_counter() - start)
        single = need_by_need(demands, packs, costs)
        saved.append(1 - plan.cost / single.cost)
        proven += plan.proven
        wasted[0] += plan.wasted
        wasted[1] += single.wasted
    start = time.perf_counter()
    for seed in range(count):
        rng = random.Random(seed)
        lot_sizing.wagner_whitin([rng.randint(0, 30) for _ in range(52)], 25.0, 0.04)
    textbook = time.perf_counter() - start
    print(  # noqa: T201
        f"{count} materials, a year ahead: {sum(times):.2f} s in all, median "
        f"{statistics.median(times) * 1e3:.1f} ms, worst {max(times) * 1e3:.0f} ms; "
        f"{proven} proven; median saving against need by need {statistics.median(saved):.1%}; "
        f"expired {wasted[0]:.1f} kg against {wasted[1]:.1f} kg; "
        f"textbook plan over 52 weeks {textbook / count * 1e3:.2f} ms each"
    )


if __name__ == "__main__":
    main()
