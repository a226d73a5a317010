"""Dew point: the rule people work by, and refusals. Values are in the reference rows."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from planning.core.casting.dew_point import check_surface, dew_point_c, saturation_pressure_hpa

AIR = st.floats(0, 45)
HUMIDITY = st.floats(5, 100)


@settings(deadline=None)
@given(AIR, HUMIDITY)
def test_air_at_its_dew_point_is_saturated(air_c, humidity):
    dew_c = dew_point_c(air_c, humidity)
    vapour = humidity / 100 * saturation_pressure_hpa(air_c)
    assert saturation_pressure_hpa(max(dew_c, -45.0)) == pytest.approx(vapour, rel=1e-9)
    assert dew_c <= air_c + 1e-9


@settings(deadline=None)
@given(AIR, HUMIDITY, st.floats(0, 45))
def test_verdict_follows_from_either_bound(air_c, humidity, surface_c):
    checked = check_surface(air_c, humidity, surface_c)
    assert checked.dry_enough == (surface_c >= checked.lowest_surface_c)
    if abs(checked.margin_k - 3) > 1e-6:
        below_limit = humidity <= checked.highest_humidity_percent
        assert checked.dry_enough == below_limit


def test_printed_tables_agree():
    """20 C at 50 %: 9.3 C; 10 C at 60 %: 2.6 C; 30 C at 55 %: 20 C (tables named in the rows)."""
    assert dew_point_c(20.0, 50.0) == pytest.approx(9.3, abs=0.05)
    assert dew_point_c(10.0, 60.0) == pytest.approx(2.6, abs=0.05)
    assert dew_point_c(30.0, 55.0) == pytest.approx(20.0, abs=0.05)


def test_cold_tool_in_warm_air_is_not_to_be_poured_on():
    assert not check_surface(23.0, 69.5, 20.0).dry_enough
    assert check_surface(23.0, 68.5, 20.0).dry_enough


@pytest.mark.parametrize(("air_c", "humidity", "surface_c", "said"), [
    (20.0, 0.0, 20.0, "humidity_percent is 0; it must be above 0"),
    (20.0, 101.0, 20.0, "humidity_percent is 101; it must lie in 0 to 100"),
    (90.0, 50.0, 20.0, "air_c is 90; it must lie in -45 to 60"),
    (20.0, 50.0, 400.0, "surface_c is 400"),
])  # fmt: skip
def test_nonsense_is_refused_by_name_and_value(air_c, humidity, surface_c, said):
    with pytest.raises(ValueError, match=said):
        check_surface(air_c, humidity, surface_c)
