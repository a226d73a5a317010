"""The two clocks between lifts, and the planner's limits of a day."""

import time
from dataclasses import replace

import pytest

from planning.core.casting.exotherm import solve_lift, solve_lifts
from planning.core.casting.faces import INSULATED
from planning.core.casting.gaps import lift_window, ways_out
from planning.core.casting.limits import depth_and_clock_limits
from planning.core.casting.stricter import greatest, least
from planning.core.casting.system import USUAL_PEAK_LIMIT_C, SystemData
from tests.planning.core.casting.demo_resin import AIR, BOARD, BOTH, DEMO, SHEET, SHEET_ONLY

CAPPED = replace(DEMO, peak_cap_c=80.0, bond_conversion=0.75)


def test_next_lift_at_the_opening_peaks_at_the_cap():
    window = lift_window(CAPPED, 70.0, 25.0, BOARD, AIR)
    assert window.opens_h.value == pytest.approx(window.cooled_h)
    both = solve_lifts(CAPPED, (70.0, 70.0), (window.cooled_h,), 25.0, BOARD, AIR)
    assert max(both.peak_c, both.reheated_below_c) == pytest.approx(80.0, abs=0.5)
    assert 8.5 < window.cooled_h < 9.5  # 79.0 C after 9 h in the reference text


def test_lift_must_have_gelled_to_its_surface():
    thin = lift_window(CAPPED, 30.0, 20.0, BOARD, AIR)
    assert thin.opens_h.value >= solve_lift(CAPPED, 30.0, 20.0, BOARD, AIR).gel_top_h


def test_clocks_that_do_not_overlap_are_told_with_ways_out_that_work():
    window = lift_window(CAPPED, 70.0, 28.0, BOARD, AIR)
    assert window.overlap is False
    offers = {o.kind: o for o in ways_out(CAPPED, 70.0, 28.0, BOARD, AIR)}
    assert set(offers) >= {"thinner lifts", "wait and abrade"}
    thinner = offers["thinner lifts"].depth_mm
    assert thinner < 70.0
    assert lift_window(CAPPED, thinner, 28.0, BOARD, AIR).overlap
    assert offers["wait and abrade"].wait_h == window.opens_h.value
    if "cooler shop" in offers:
        cooler = offers["cooler shop"].shop_c
        assert cooler < 28.0
        assert lift_window(CAPPED, 70.0, cooler, BOARD, AIR).overlap


def test_overlapping_clocks_need_no_way_out():
    window = lift_window(CAPPED, 50.0, 23.0, BOARD, AIR)
    assert window.overlap
    assert ways_out(CAPPED, 50.0, 23.0, BOARD, AIR) == ()


def test_lift_too_deep_for_the_cap_never_opens():
    window = lift_window(CAPPED, 160.0, 28.0, BOARD, AIR)
    assert window.never_cools
    assert window.opens_h.value is None
    assert window.overlap is False


def test_datasheet_gaps_are_shifted_to_the_shop():
    at_reference = lift_window(SHEET_ONLY, 50.0, 23.0, BOARD, AIR)
    assert at_reference.opens_h.value == pytest.approx(4.0)
    assert at_reference.closes_h.value == pytest.approx(12.0)
    cold = lift_window(SHEET_ONLY, 50.0, 15.0, BOARD, AIR)
    assert cold.opens_h.value > 6.0
    assert cold.opens_h.basis == "datasheet"


def test_unknown_clocks_are_unknown_and_not_fine():
    window = lift_window(SystemData("blank"), 50.0, 23.0, BOARD, AIR)
    assert window.overlap is None
    assert window.opens_h.basis == window.closes_h.basis == "unknown"


@pytest.mark.parametrize(("shop_c", "basis", "depth_mm"), [
    (18.0, "datasheet", 70.0),  # computed 116.1 mm would allow more; it may not loosen
    (25.0, "datasheet", 70.0),
    (28.0, "computed", 60.9),
])  # fmt: skip
def test_stricter_depth_holds_and_is_named(shop_c, basis, depth_mm):
    limits = depth_and_clock_limits(BOTH, shop_c, BOARD, AIR)
    assert limits.deepest_lift_mm.basis == basis
    assert limits.deepest_lift_mm.value == pytest.approx(depth_mm, abs=0.1)
    assert limits.deepest_lift_mm.value <= 70.0


def test_attended_until_the_peak_of_the_deepest_lift():
    limits = depth_and_clock_limits(BOTH, 25.0, BOARD, AIR)
    assert limits.attended_min.value == pytest.approx(60 * 5.473, rel=0.01)
    assert limits.attended_min.basis == "computed"


def test_datasheet_only_system_gives_every_clock_and_names_its_basis():
    limits = depth_and_clock_limits(SHEET_ONLY, 20.0)
    named = (limits.deepest_lift_mm, limits.pot_life_min, limits.gel_early_min,
             limits.least_gap_min, limits.greatest_gap_min, limits.demould_min,
             limits.attended_min)  # fmt: skip
    assert all(limit.basis == "datasheet" and limit.value > 0 for limit in named)


def test_blank_system_is_answered_with_what_is_not_known():
    limits = depth_and_clock_limits(SystemData("blank"), 20.0)
    assert limits.deepest_lift_mm.value is None
    assert limits.demould_min.basis == "unknown"
    assert limits.deepest_lift_mm.basis == "unknown"


def test_shop_hotter_than_the_cap_allows_no_depth():
    limits = depth_and_clock_limits(replace(BOTH, peak_cap_c=27.0), 28.0, BOARD, AIR)
    assert limits.deepest_lift_mm.value == 0.0
    assert limits.deepest_lift_mm.basis == "computed"


def test_unknown_base_is_the_strict_one():
    unknown = depth_and_clock_limits(BOTH, 25.0)
    assert unknown == depth_and_clock_limits(BOTH, 25.0, INSULATED, AIR)
    assert unknown.deepest_lift_mm.value == pytest.approx(43.8, abs=0.2)  # reference text
    assert unknown.deepest_lift_mm.basis == "computed"


def test_same_day_again_costs_nothing():
    depth_and_clock_limits(BOTH, 21.5, BOARD, AIR)
    started = time.perf_counter()
    for _ in range(100):
        depth_and_clock_limits(BOTH, 21.5, BOARD, AIR)
    assert time.perf_counter() - started < 0.1


def test_stricter_picks_and_names():
    assert (least(70.0, 60.0).value, least(70.0, 60.0).basis) == (60.0, "computed")
    assert (least(50.0, 60.0).value, least(50.0, 60.0).basis) == (50.0, "datasheet")
    assert (greatest(50.0, 60.0).value, greatest(50.0, 60.0).basis) == (60.0, "computed")
    assert greatest(70.0, 60.0).basis == "datasheet"
    assert least(None, 5.0).basis == greatest(None, 5.0).basis == "computed"
    assert least(None, None).value is None
    assert least(70.0, 60.0).times(2.0).datasheet == 140.0
    assert SHEET.deepest_lift_mm == 70.0


def test_system_without_a_peak_limit_is_held_to_the_usual_one():
    stated = depth_and_clock_limits(replace(DEMO, peak_cap_c=USUAL_PEAK_LIMIT_C), 25.0, BOARD, AIR)
    unstated = depth_and_clock_limits(DEMO, 25.0, BOARD, AIR)
    assert unstated.deepest_lift_mm == stated.deepest_lift_mm
    assert unstated.deepest_lift_mm.value is not None
    assert unstated.least_gap_min == stated.least_gap_min


def test_half_told_range_of_records_is_refused():
    with pytest.raises(ValueError, match="give both, the colder first"):
        replace(DEMO.kinetics, fitted_from_c=60.0)
