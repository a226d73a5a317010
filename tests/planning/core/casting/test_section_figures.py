"""A casting beside a wide one of its depth: limits that are known, and which side is safe."""

from dataclasses import replace

import numpy as np
import pytest

from planning.core.casting.clock_types import PouredLift
from planning.core.casting.exotherm import solve_lift
from planning.core.casting.faces import AIR_TOP, INSULATED, Face, tool_side
from planning.core.casting.many_lifts import LaneFigures, solve_lanes
from planning.core.casting.model_times import times_of
from planning.core.casting.section import LONG, NARROW_DEPTHS, ROUND, Section
from planning.core.casting.section_figures import section_figures
from planning.core.casting.system import GlassTransition, Thermal
from tests.planning.core.casting.demo_resin import AIR, BOARD, DEMO, SHEET_ONLY

SYSTEM = replace(DEMO, glass=GlassTransition(-20.0, 88.0, 0.45), demould_conversion=0.70)
METAL = tool_side("metal")


def bar(width, depth, side=BOARD, shape=LONG, **pattern):
    return Section(shape, width, depth, BOARD, side, AIR_TOP, **pattern)


@pytest.mark.parametrize(("depth", "shop_c"), [(40.0, 18.0), (70.0, 25.0), (150.0, 25.0)])
def test_wide_one_is_the_lift_of_the_workbench(depth, shop_c):
    lift = solve_lift(SYSTEM, depth, shop_c, BOARD, AIR)
    wide = section_figures(SYSTEM, bar(300.0, depth), shop_c).wide
    assert wide.peak_c == pytest.approx(lift.peak_c, abs=0.05)
    assert wide.peak_h == pytest.approx(lift.peak_h, abs=0.02)


QUICK = replace(SYSTEM, thermal=Thermal(1150.0, 1800.0, 0.2, 1.0, 450e3), glass=None)
"""Unfilled: it flashes within minutes, as fronts that run towards each other."""


def test_top_of_a_quick_mix_is_not_missed_between_two_readings():
    lift = solve_lift(QUICK, 60.0, 25.0, BOARD, AIR)
    wide = section_figures(QUICK, bar(300.0, 60.0, INSULATED), 25.0).wide
    assert wide.peak_c == pytest.approx(lift.peak_c, rel=0.005)
    assert wide.peak_h == pytest.approx(lift.peak_h, rel=0.01)


def test_fronts_that_meet_make_a_quick_narrow_casting_hotter_than_a_wide_one():
    """As the mesh is refined to 90 x 90 cells it tends to 349 C, the wide one to 291 C."""
    found = section_figures(QUICK, bar(100.0, 60.0), 25.0)
    assert found.section.peak_c == pytest.approx(349.0, rel=0.01)
    assert not found.wide_is_hotter


@pytest.mark.parametrize("shape", [LONG, ROUND])
def test_sides_that_lose_nothing_change_nothing(shape):
    found = section_figures(SYSTEM, bar(100.0, 70.0, INSULATED, shape), 22.0)
    assert found.rise_share == pytest.approx(1.0, abs=1e-3)
    assert found.section.cured_h == pytest.approx(found.wide.cured_h, rel=0.01)
    # Nothing flows out of its sides, but they are as warm as its middle when it is handled.
    assert found.section.demould_h >= found.wide.demould_h


def test_demoulding_is_judged_as_the_clocks_judge_it():
    """The wide casting against the lanes that the clocks of a poured lift are made of."""
    hours, one = np.linspace(0.0, 40.0, 401), np.ones(1)
    figures = LaneFigures(
        one, one, AIR.film_w_m2k * one, BOARD.film_w_m2k * one, np.array([25.0]), np.nan * one
    )
    room = np.full((2, 1), 25.0)
    solved = solve_lanes(SYSTEM, 70.0, figures, np.array([0.0, 40.0]), room, hours)
    lift = PouredLift(SYSTEM, 70.0, BOARD, AIR, 0.0, 25.0)
    clock = times_of(lift, solved, 0.70)
    wide = section_figures(SYSTEM, bar(300.0, 70.0), 25.0).wide
    assert wide.demould_h == pytest.approx(clock.demould[0], rel=0.01)
    assert wide.cured_h == pytest.approx(clock.cured[0], rel=0.01)
    assert wide.gelled_h == pytest.approx(clock.gelled[0], rel=0.01)


@pytest.mark.parametrize("shape", [LONG, ROUND])
@pytest.mark.parametrize("shop_c", [18.0, 25.0])
def test_narrower_castings_stay_cooler_and_their_edges_cure_later(shape, shop_c):
    found = [
        section_figures(SYSTEM, bar(width, 60.0, shape=shape), shop_c)
        for width in (600.0, 200.0, 100.0, 60.0)
    ]
    shares = [one.rise_share for one in found]
    assert shares == sorted(shares, reverse=True)
    assert shares[0] < 1.0
    cured = [one.section.cured_h for one in found]
    assert cured == sorted(cured)
    assert cured[0] > 1.2 * found[0].wide.cured_h
    assert cured[-1] < found[-1].edge_cured_h
    assert all(one.wide_is_hotter for one in found)
    assert not found[-1].wide_is_later


def test_narrow_is_what_gains_less_than_nine_tenths_of_a_wide_rise():
    depth = 60.0
    found = section_figures(SYSTEM, bar(NARROW_DEPTHS * depth, depth), 22.0)
    assert 0.85 < found.rise_share < 0.95


def test_round_casting_is_cooler_than_a_long_one_as_wide():
    long, round_ = (
        section_figures(SYSTEM, bar(90.0, 70.0, shape=shape), 25.0).section.peak_c
        for shape in (LONG, ROUND)
    )
    assert round_ < long


def test_bar_on_its_side_is_the_same_bar():
    same = [
        Section(LONG, width, depth, BOARD, BOARD, BOARD)
        for width, depth in ((60.0, 90.0), (90.0, 60.0))
    ]
    peaks = [section_figures(SYSTEM, one, 25.0).section.peak_c for one in same]
    assert peaks[0] == pytest.approx(peaks[1], abs=0.05)


def test_hot_wall_makes_one_dimension_the_cold_side():
    wall = Face(METAL.film_w_m2k, around_c=45.0)
    found = section_figures(SYSTEM, bar(100.0, 40.0, wall), 22.0)
    assert found.rise_share > 1.0
    assert not found.wide_is_hotter
    assert found.wide_is_later


def test_metal_pattern_cools_and_one_of_foam_holds_the_heat():
    pattern = {"pattern_width_mm": 120.0, "pattern_height_mm": 50.0}
    metal, foam = (
        section_figures(SYSTEM, bar(300.0, 100.0, pattern=side, **pattern), 25.0)
        for side in (METAL, INSULATED)
    )
    assert metal.section.peak_c < foam.section.peak_c < foam.wide.peak_c
    assert np.isnan(foam.map_c).sum() > 0
    assert np.nanmax(foam.map_c) == pytest.approx(foam.section.peak_c, abs=0.5)


def test_cold_shop_where_the_edges_never_cure_says_so():
    found = section_figures(SYSTEM, bar(40.0, 40.0), -10.0)
    assert found.section.demould_h is None
    assert found.time_share is None
    assert not found.wide_is_later or found.wide.demould_h is None


def test_warm_mix_in_a_cold_shop_cures_no_later_than_a_cold_one():
    cold, warm = (
        section_figures(SYSTEM, bar(80.0, 60.0), 20.0, mix_c=mix) for mix in (None, 32.0)
    )
    assert warm.section.peak_c > cold.section.peak_c
    assert warm.section.cured_h < cold.section.cured_h


def test_system_without_kinetics_is_refused_by_name():
    with pytest.raises(ValueError, match="no kinetics"):
        section_figures(SHEET_ONLY, bar(80.0, 60.0), 20.0)
