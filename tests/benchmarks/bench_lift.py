"""
How fast a lift and a deepest-safe-lift search are, against a plain BDF solve of the same grid.

Run ``python -m tests.benchmarks.bench_lift``; exit 1 when a target is missed. The plain route is
SciPy's ``solve_ivp(method="BDF")`` with a dense Jacobian by differences, the same cells, the same
end time and the same tolerances, its right-hand side written with numpy in the obvious way.
"""

import statistics
import sys
import time

import numpy as np
from scipy.integrate import solve_ivp

from planning.core.casting.exotherm import deepest_safe_lift_mm, solve_lift
from planning.core.casting.lift_stack import LEAST_CELLS
from tests.planning.core.casting.demo_resin import AIR, BOARD, DEMO
from tests.planning.core.casting.test_exotherm import random_lift

LIFT_MS, SEARCH_MS, LEAST_RATIO = 40.0, 500.0, 5.0
R = 8.314462618
OUT = sys.stdout.write


def plain_bdf_peak_c(depth_mm, shop_c, until_h, cells):
    k, t = DEMO.kinetics, DEMO.thermal
    dx, around = depth_mm / 1000 / cells, shop_c + 273.15
    heat = t.density_kg_m3 * t.heat_capacity_j_kgk * dx
    half = dx / 2 / t.conductivity_w_mk
    films = 1 / (1 / BOARD.film_w_m2k + half), 1 / (1 / AIR.film_w_m2k + half)

    def slope(_t, y):
        temp, a = y[0::2], np.clip(y[1::2], 0, 1)
        grow = k.a1_per_s * np.exp(-k.e1_j_mol / R / temp)
        grow = grow + k.a2_per_s * np.exp(-k.e2_j_mol / R / temp) * a**k.m
        rate = grow * (1 - a) ** k.n
        rate = rate / (1 + np.exp(k.brake_c * (a - k.brake_ac0 - k.brake_act_per_k * temp)))
        flow = np.empty(cells + 1)
        flow[1:-1] = t.conductivity_w_mk / dx * np.diff(temp)
        flow[0], flow[-1] = films[0] * (temp[0] - around), films[1] * (around - temp[-1])
        out = np.empty_like(y)
        out[0::2] = np.diff(flow) / heat + t.adiabatic_rise_k * rate
        out[1::2] = rate
        return out

    start = np.zeros(2 * cells)
    start[0::2] = around
    path = solve_ivp(slope, (0, 3600 * until_h), start, method="BDF", rtol=1e-6, atol=1e-6)
    return float(path.y[0::2].max() - 273.15)


def timed_ms(call, repeats):
    spent = []
    for _ in range(repeats):
        solve_lift.cache_clear()
        deepest_safe_lift_mm.cache_clear()
        started = time.perf_counter()
        call()
        spent.append(1000 * (time.perf_counter() - started))
    return spent


def measure(repeats=9):
    """Return what was measured, in ms but for the ratio and the two peaks."""
    curve = solve_lift(DEMO, 70.0, 25.0, BOARD, AIR)
    until_h, cells = curve.times_h[-1], LEAST_CELLS
    other_c = plain_bdf_peak_c(70.0, 25.0, until_h, cells)
    # Turn about, so that a busy moment of the machine falls on both routes alike.
    ours, plain = [], []
    for _ in range(repeats):
        ours += timed_ms(lambda: solve_lift(DEMO, 70.0, 25.0, BOARD, AIR), 1)
        plain += timed_ms(lambda: plain_bdf_peak_c(70.0, 25.0, until_h, cells), 1)
    quick = random_lift(5)  # an unfilled, boiling 147 mm lift: the hardest of the random set
    face = type(BOARD)(float(quick[3])), type(BOARD)(float(quick[4]))
    hard = timed_ms(lambda: solve_lift(quick[0], quick[1], quick[2], *face), repeats)
    search = timed_ms(lambda: deepest_safe_lift_mm(DEMO, 25.0, 80.0, BOARD, AIR), repeats)
    return {
        "peak_c": curve.peak_c,
        "plain_peak_c": other_c,
        "lift_ms": statistics.median(ours),
        "plain_ms": statistics.median(plain),
        "ratio": statistics.median(plain) / statistics.median(ours),
        "hard_lift_ms": statistics.median(hard),
        "search_ms": statistics.median(search),
    }


def main():
    found = measure()
    OUT(f"lift of 70 mm on {LEAST_CELLS} cells: {found['lift_ms']:.1f} ms, "
        f"peak {found['peak_c']:.3f} C (at most {LIFT_MS:g} ms)\n"
        f"plain BDF on the same grid: {found['plain_ms']:.1f} ms, "
        f"peak {found['plain_peak_c']:.3f} C\n"
        f"ratio: {found['ratio']:.1f} (at least {LEAST_RATIO:g})\n"
        f"hardest random lift, unfilled and boiling: {found['hard_lift_ms']:.1f} ms\n"
        f"deepest safe lift: {found['search_ms']:.1f} ms (at most {SEARCH_MS:g} ms)\n"
    )  # fmt: skip
    missed = (
        found["lift_ms"] > LIFT_MS
        or found["search_ms"] > SEARCH_MS
        or found["ratio"] < LEAST_RATIO
        or abs(found["peak_c"] - found["plain_peak_c"]) > 0.05
    )
    return int(missed)


if __name__ == "__main__":
    sys.exit(main())
