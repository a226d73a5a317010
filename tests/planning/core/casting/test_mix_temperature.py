"""A mix or mould of its own temperature: of every limit the stricter holds, both ways."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.core.casting.exotherm import deepest_safe_lift_mm, solve_lift
from planning.core.casting.faces import HELD, INSULATED, Face
from planning.core.casting.limits import depth_and_clock_limits
from planning.core.casting.pot_life import pot_life_min
from planning.core.casting.stricter import Limit, earlier, later
from tests.planning.core.casting.demo_resin import AIR, BOARD, BOTH, DEMO, SHEET_ONLY

EARLIEST = ("deepest_lift_mm", "pot_life_min", "gel_early_min", "greatest_gap_min")
LATEST = ("gel_late_min", "attended_min", "least_gap_min", "demould_min")


def test_a_mix_of_40_in_a_shop_of_22():
    """The figures of a separate run of the same model: 17.7 min for 58, 106 C for 62 at 70 mm."""
    assert pot_life_min(DEMO, 22.0, 25.0).value == pytest.approx(58.4, abs=0.5)
    by_cure = replace(DEMO, pot_life_core_c=150.0)
    assert pot_life_min(by_cure, 22.0, 25.0, 40.0).value == pytest.approx(17.7, abs=0.1)
    assert DEMO.pot_life_core_c == 40.0
    assert pot_life_min(DEMO, 22.0, 25.0, 40.0).value == 0, "as hot as a pot may get, at once"
    assert solve_lift(DEMO, 70.0, 22.0, BOARD, AIR).peak_c == pytest.approx(61.9, abs=0.5)
    warm = solve_lift(DEMO, 70.0, 22.0, BOARD, AIR, mix_c=40.0)
    assert warm.peak_c == pytest.approx(105.7, abs=0.5)


@pytest.mark.parametrize("system", [BOTH, DEMO, SHEET_ONLY], ids=["both", "computed", "sheet"])
def test_a_warmer_mix_never_has_the_longer_pot_life(system):
    lives = [pot_life_min(system, 22.0, 25.0, float(c)).value for c in range(22, 46)]
    assert lives == sorted(lives, reverse=True)


@pytest.mark.parametrize("system", [BOTH, DEMO, SHEET_ONLY], ids=["both", "computed", "sheet"])
@pytest.mark.parametrize("mix_c", [5.0, 15.0, 30.0, 45.0])
def test_every_limit_is_the_stricter_of_the_shops_and_the_mixs(system, mix_c):
    plain = depth_and_clock_limits(system, 22.0, BOARD, AIR, depth_mm=40.0, batch_kg=5.0)
    mixed = depth_and_clock_limits(
        system, 22.0, BOARD, AIR, depth_mm=40.0, batch_kg=5.0, mix_c=mix_c
    )
    for name in EARLIEST:
        was, now = getattr(plain, name), getattr(mixed, name)
        assert earlier(was, now) == now, name
    for name in LATEST:
        was, now = getattr(plain, name), getattr(mixed, name)
        assert later(was, now) == now, name
    changed = {
        name for name in (*EARLIEST, *LATEST) if getattr(plain, name) != getattr(mixed, name)
    }
    if mix_c > 22:
        assert changed >= {"pot_life_min", "gel_early_min"}
        assert not changed & {"gel_late_min", "demould_min"}
    else:
        assert "gel_late_min" in changed
        assert not changed & {"pot_life_min", "gel_early_min", "deepest_lift_mm"}


@settings(max_examples=12, deadline=None)
@given(
    shop_c=st.floats(12, 30), mix_c=st.floats(12, 50), printed_mm=st.floats(20, 150),
)  # fmt: skip
def test_the_depth_is_never_above_the_data_sheet_nor_above_the_computed(shop_c, mix_c, printed_mm):
    system = replace(BOTH, datasheet=replace(BOTH.datasheet, deepest_lift_mm=printed_mm))
    found = depth_and_clock_limits(system, shop_c, BOARD, AIR, depth_mm=20.0, mix_c=mix_c)
    both = [
        deepest_safe_lift_mm(system, shop_c, 80.0, BOARD, AIR, mix_c=mix) for mix in (None, mix_c)
    ]
    assert found.deepest_lift_mm.value == pytest.approx(min(printed_mm, *both), abs=1e-9)
    sheet_binds = printed_mm <= min(both)
    assert found.deepest_lift_mm.basis == ("datasheet" if sheet_binds else "computed")


def test_a_heated_mould_makes_lifts_hotter_and_a_thin_skin_takes_its_temperature():
    cool, hot = Face(50.0), Face(50.0, around_c=60.0)
    assert solve_lift(DEMO, 70.0, 22.0, hot, AIR).peak_c > 90
    assert solve_lift(DEMO, 70.0, 22.0, cool, AIR).peak_c < 35
    unreactive = replace(DEMO, thermal=replace(DEMO.thermal, heat_j_kg=0.0))
    skin = solve_lift(unreactive, 5.0, 22.0, Face(HELD.film_w_m2k, 60.0), INSULATED)
    assert skin.peak_c == pytest.approx(60.0, abs=0.1)


def test_without_heat_of_its_own_a_lift_between_two_temperatures_ends_on_the_straight_line():
    """Steady conduction between two held faces is linear (textbook)."""
    unreactive = replace(DEMO, thermal=replace(DEMO.thermal, heat_j_kg=0.0))
    from planning.core.casting.exotherm import lift_temps_c

    base, top = Face(HELD.film_w_m2k, 60.0), Face(HELD.film_w_m2k, 20.0)
    for height_mm in (10.0, 20.0, 30.0):
        (found,) = lift_temps_c(unreactive, 40.0, 22.0, base, top, height_mm, [48.0])
        assert found == pytest.approx(60.0 - height_mm, abs=0.7)


def test_a_mould_as_warm_as_the_shop_changes_nothing():
    plain = depth_and_clock_limits(BOTH, 22.0, BOARD, AIR)
    same = depth_and_clock_limits(BOTH, 22.0, Face(BOARD.film_w_m2k, 22.0), AIR)
    assert same.deepest_lift_mm.value == pytest.approx(plain.deepest_lift_mm.value, abs=0.05)
    assert same.demould_min == plain.demould_min


def test_a_hot_mould_ends_bonding_and_wet_on_wet_sooner_and_a_cold_one_makes_all_waits_longer():
    plain = depth_and_clock_limits(SHEET_ONLY, 22.0, BOARD, AIR)
    hot = depth_and_clock_limits(SHEET_ONLY, 22.0, Face(5.0, 40.0), AIR)
    cold = depth_and_clock_limits(SHEET_ONLY, 22.0, Face(5.0, 12.0), AIR)
    assert hot.gel_early_min.value < plain.gel_early_min.value
    assert hot.greatest_gap_min.value < plain.greatest_gap_min.value
    assert hot.demould_min == plain.demould_min, "a warm mould opens nothing early"
    for name in ("gel_late_min", "least_gap_min", "demould_min"):
        assert getattr(cold, name).value > getattr(plain, name).value, name


def test_a_wait_without_end_is_the_stricter_whatever_the_other_says():
    never, known = Limit(None, "computed", 30.0, None), Limit(90.0, "datasheet", 90.0, None)
    unknown = Limit(None, "unknown", None, None)
    assert later(never, known) == later(known, never) == never
    assert later(unknown, known) == later(known, unknown) == known
    assert earlier(unknown, known) == earlier(known, unknown) == known
