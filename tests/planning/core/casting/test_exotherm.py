"""Lift temperatures against an independent route, and the behaviour people rely on."""

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from planning.core.casting.exotherm import (
    DEEPEST_MM,
    deepest_safe_lift_mm,
    lift_temps_c,
    solve_lift,
    solve_lifts,
)
from planning.core.casting.faces import HELD, INSULATED, Face, tool_side
from planning.core.casting.system import Kinetics, SystemData, Thermal
from tests.planning.core.casting.demo_resin import AIR, BOARD, DEMO, SHEET_ONLY

R = 8.314462618


def independent_peak_c(system, depth_mm, shop_c, h_base, h_top, cells=300):
    """
    Peak by SciPy's BDF on 300 cells, written with a dense matrix and no code of the project.

    Temperatures and conversions are stacked, not interleaved; the rate law is spelled out.
    """
    k, t = system.kinetics, system.thermal
    dx, around = depth_mm / 1000 / cells, shop_c + 273.15
    heat = t.density_kg_m3 * t.heat_capacity_j_kgk
    flow = np.zeros((cells, cells))
    for i in range(cells - 1):
        g = t.conductivity_w_mk / dx / (heat * dx)
        flow[i, i] -= g
        flow[i, i + 1] += g
        flow[i + 1, i + 1] -= g
        flow[i + 1, i] += g
    gain = np.zeros(cells)
    for i, h in ((0, h_base), (cells - 1, h_top)):
        if h > 0:
            g = 1 / (1 / h + dx / 2 / t.conductivity_w_mk) / (heat * dx)
            flow[i, i] -= g
            gain[i] += g * around
    rise = t.reactive_fraction * t.heat_j_kg / t.heat_capacity_j_kgk

    def slope(_t, y):
        temp, a = y[:cells], np.clip(y[cells:], 0, 1)
        grow = k.a1_per_s * np.exp(-k.e1_j_mol / R / temp)
        grow = grow + k.a2_per_s * np.exp(-k.e2_j_mol / R / temp) * a**k.m
        rate = grow * (1 - a) ** k.n
        rate = rate / (1 + np.exp(k.brake_c * (a - k.brake_ac0 - k.brake_act_per_k * temp)))
        return np.concatenate([flow @ temp + gain + rise * rate, rate])

    start = np.concatenate([np.full(cells, around), np.zeros(cells)])
    hours = solve_lift(system, depth_mm, shop_c, film_or(h_base), film_or(h_top)).peak_h
    until = 3600 * (1.5 * hours + 0.1)  # well past the peak; only its height is taken from here
    jac_pattern = np.abs(np.eye(2 * cells)) > 0
    for i in range(cells):
        for j in (i - 1, i, i + 1):
            if 0 <= j < cells:
                jac_pattern[i, j] = True
        jac_pattern[i, cells + i] = jac_pattern[cells + i, i] = True
    path = solve_ivp(
        slope, (0, until), start, method="BDF", rtol=1e-7, atol=1e-8, jac_sparsity=jac_pattern,
        max_step=until / 400,
    )  # fmt: skip
    assert path.success
    return float(path.y[:cells].max() - 273.15)


def film_or(h):
    return INSULATED if h == 0 else Face(h)


def random_lift(i):
    rng = np.random.default_rng(20261125 + i)
    kinetics = Kinetics(
        a1_per_s=1.9324e4 * rng.uniform(0.5, 3), e1_j_mol=52e3,
        a2_per_s=4599.5 * rng.uniform(0.5, 4), e2_j_mol=50e3,
        m=rng.uniform(0.7, 1.3), n=rng.uniform(1.4, 2.2),
        brake_c=30.0, brake_ac0=-0.25, brake_act_per_k=0.0036,
    )  # fmt: skip
    thermal = Thermal(
        density_kg_m3=rng.uniform(1100, 1900), heat_capacity_j_kgk=rng.uniform(1100, 1800),
        conductivity_w_mk=rng.uniform(0.2, 1.2), reactive_fraction=rng.uniform(0.35, 1.0),
        heat_j_kg=rng.uniform(250e3, 450e3),
    )  # fmt: skip
    system = SystemData(f"random {i}", kinetics=kinetics, thermal=thermal)
    return (
        system, rng.uniform(15, 160), rng.uniform(15, 30),
        rng.choice([0.0, 5.0, 50.0]), rng.uniform(5, 12),
    )  # fmt: skip


@pytest.mark.parametrize("i", range(20))
def test_random_lift_peaks_within_0_3_percent_of_an_independent_solver(i):
    system, depth_mm, shop_c, h_base, h_top = random_lift(i)
    got = solve_lift(system, depth_mm, shop_c, film_or(h_base), film_or(h_top)).peak_c
    other = independent_peak_c(system, depth_mm, shop_c, h_base, h_top)
    assert other > shop_c + 1
    assert got == pytest.approx(other, rel=3e-3)


def test_finer_cells_settle_on_one_peak():
    peaks = [
        solve_lift(DEMO, 70.0, 25.0, BOARD, AIR, cells=n).peak_c for n in (10, 20, 40, 80, 160)
    ]
    steps = [abs(b - a) for a, b in pairwise(peaks)]
    assert all(later < earlier for earlier, later in pairwise(steps))
    assert peaks == pytest.approx([76.152, 76.121, 76.109, 76.105, 76.104], abs=0.004)
    assert abs(peaks[1] - peaks[-1]) < 0.03  # 20 cells are enough for planning


def test_published_table_of_peaks_by_depth_and_shop_temperature():
    """The table of the reference text, section 10: depth, then peaks at 18, 23, 25, 28 C."""
    table = {
        20: (22.0, 29.1, 32.2, 37.2), 40: (28.0, 39.3, 44.9, 54.8), 60: (37.4, 56.4, 65.5, 79.0),
        80: (52.0, 76.3, 85.2, 96.8), 100: (68.7, 91.1, 98.3, 107.7),
        200: (108.0, 118.9, 122.7, 128.0),
    }  # fmt: skip
    for depth_mm, peaks in table.items():
        for shop_c, peak_c in zip((18, 23, 25, 28), peaks, strict=True):
            got = solve_lift(DEMO, float(depth_mm), float(shop_c), BOARD, AIR).peak_c
            assert got == pytest.approx(peak_c, abs=0.06), (depth_mm, shop_c)


@pytest.mark.parametrize(("gap_h", "upper_c"), [(4, 113.8), (6, 105.6), (9, 79.0), (24, 53.9)])
def test_second_lift_peaks_as_published(gap_h, upper_c):
    both = solve_lifts(DEMO, (70.0, 70.0), (float(gap_h),), 25.0, BOARD, AIR)
    assert both.peak_c == pytest.approx(upper_c, abs=0.1)


def test_second_lift_reheats_the_first():
    both = solve_lifts(DEMO, (70.0, 70.0), (6.0,), 25.0, BOARD, AIR)
    assert both.reheated_below_c == pytest.approx(92.3, abs=0.2)
    assert solve_lift(DEMO, 70.0, 25.0, BOARD, AIR).reheated_below_c is None


def test_unknown_tool_side_counts_as_insulated_and_is_hottest():
    peaks = {m: solve_lift(DEMO, 70.0, 25.0, tool_side(m), AIR).peak_c
             for m in ("metal", "board", "foam", "unknown")}  # fmt: skip
    assert peaks["metal"] < peaks["board"] < peaks["unknown"] == peaks["foam"]


def test_no_lift_is_hotter_than_its_adiabatic_ceiling():
    ceiling_c = 25.0 + DEMO.thermal.adiabatic_rise_k
    for depth_mm in (10.0, 100.0, 400.0):
        assert 25.0 <= solve_lift(DEMO, depth_mm, 25.0, INSULATED, AIR).peak_c < ceiling_c


def test_deeper_warmer_and_better_insulated_are_each_hotter():
    peaks = [solve_lift(DEMO, d, 23.0, BOARD, AIR).peak_c for d in (20.0, 50.0, 80.0, 140.0)]
    assert peaks == sorted(peaks)
    warm = [solve_lift(DEMO, 60.0, c, BOARD, AIR).peak_c for c in (15.0, 20.0, 25.0, 30.0)]
    assert warm == sorted(warm)


def test_cold_mix_delays_the_peak_and_lowers_it():
    warm = solve_lift(DEMO, 70.0, 23.0, BOARD, AIR)
    cold = solve_lift(DEMO, 70.0, 23.0, BOARD, AIR, mix_c=13.0)
    assert cold.peak_h > warm.peak_h
    assert cold.peak_c < warm.peak_c


def test_cured_casting_below_takes_up_heat_an_insulated_base_would_not():
    on_foam = solve_lift(DEMO, 60.0, 25.0, INSULATED, AIR)
    on_casting = solve_lift(DEMO, 60.0, 25.0, INSULATED, AIR, cured_below_mm=80.0)
    assert on_casting.peak_c < on_foam.peak_c - 5
    assert on_casting.reheated_below_c < on_casting.peak_c


@pytest.mark.parametrize("cap_c", [60.0, 80.0])
@pytest.mark.parametrize("shop_c", [18.0, 25.0])
def test_lift_at_the_deepest_safe_depth_peaks_at_the_cap(shop_c, cap_c):
    depth_mm = deepest_safe_lift_mm(DEMO, shop_c, cap_c, BOARD, AIR)
    assert solve_lift(DEMO, depth_mm, shop_c, BOARD, AIR).peak_c == pytest.approx(cap_c, abs=0.1)


def test_deepest_safe_lift_at_its_ends():
    assert deepest_safe_lift_mm(DEMO, 25.0, 25.0, BOARD, AIR) == 0.0
    assert deepest_safe_lift_mm(DEMO, 25.0, 20.0, BOARD, AIR) == 0.0
    assert deepest_safe_lift_mm(DEMO, 25.0, 200.0, BOARD, AIR) == DEEPEST_MM
    assert deepest_safe_lift_mm(DEMO, 25.0, 27.0, HELD, HELD) < 70.0


def test_cold_lift_that_never_gels_says_so():
    stiff = replace(DEMO, kinetics=replace(DEMO.kinetics, brake_ac0=-0.75))
    curve = solve_lift(stiff, 20.0, 12.0, BOARD, AIR)
    assert curve.gel_core_h is None
    assert curve.gel_top_h is None
    assert curve.least_conversion < stiff.gel_conversion


def test_probe_reads_the_curve_it_is_part_of():
    curve = solve_lift(DEMO, 70.0, 25.0, BOARD, AIR)
    probe = lift_temps_c(DEMO, 70.0, 25.0, BOARD, AIR, curve.peak_height_mm, [0.0, curve.peak_h])
    assert probe == pytest.approx([25.0, curve.peak_c], abs=0.1)


def test_lifts_solved_in_several_threads_at_once_are_the_same():
    """The web server answers from threads; the integrator must keep their states apart."""
    depths = [20.0 + 3 * i for i in range(20)]

    def peak(depth_mm):
        return solve_lift.__wrapped__(DEMO, depth_mm, 24.0, BOARD, AIR).peak_c

    alone = [peak(depth_mm) for depth_mm in depths]
    with ThreadPoolExecutor(5) as threads:
        assert list(threads.map(peak, depths)) == alone


@pytest.mark.parametrize(("change", "said"), [
    pytest.param({"depth_mm": -5.0}, "depth_mm is -5; it must be above 0", id="negative depth"),
    pytest.param({"depth_mm": math.nan}, "depth_mm is nan", id="no number"),
    pytest.param({"depth_mm": 9e9}, "depth_mm is 9e", id="kilometres"),
    pytest.param({"shop_c": -300.0}, "above -273.15 C", id="below absolute zero"),
    pytest.param({"system": SHEET_ONLY}, "has no kinetics", id="datasheet only"),
])  # fmt: skip
def test_nonsense_is_refused_by_name_and_value(change, said):
    asked = {"system": DEMO, "depth_mm": 70.0, "shop_c": 25.0, "base": BOARD, "top": AIR}
    with pytest.raises(ValueError, match=said):
        solve_lift(**(asked | change))


def test_gaps_must_match_lifts():
    with pytest.raises(ValueError, match="2 lifts and 0 gaps"):
        solve_lifts(DEMO, (50.0, 50.0), (), 25.0, BOARD, AIR)
