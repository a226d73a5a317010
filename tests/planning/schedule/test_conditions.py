"""The planner's clocks of a day: two clocks between lifts that do not overlap stay so."""

from decimal import Decimal

import pytest

from planning.pours.setting import Setting
from planning.schedule.conditions import condition_at
from shop import stores
from tests.factories.shop import make_system

KINETICS = {
    "a1_per_s": 19324.0, "e1_j_mol": 52000.0, "a2_per_s": 4599.5, "e2_j_mol": 50000.0,
    "m": 1.0, "n": 1.8, "brake_c": 30.0, "brake_ac0": -0.25, "brake_act_per_k": 0.0036,
    "thermal": {
        "density_kg_m3": 1700, "heat_capacity_j_kgk": 1290, "conductivity_w_mk": 0.8,
        "reactive_fraction": 0.417, "heat_j_kg": 350000,
    },
}  # fmt: skip


def clocks(shop_c, **values):
    row = make_system(
        reference_c=Decimal(25), deepest_lift_mm=Decimal(70), cap_c=Decimal(80),
        gap_least_min=Decimal(240), **values,
    )  # fmt: skip
    return condition_at(stores.system(row.pk), 0, shop_c, [Setting("board")])


@pytest.mark.django_db
def test_window_that_closes_before_it_opens_is_left_so():
    """At 25 C a 70 mm lift is cool enough after 8.9 h; this one bonds for 6 h only."""
    found = clocks(25.0, gap_greatest_min=Decimal(360), kinetics=KINETICS)
    assert found.gap_greatest_min == 360
    assert found.gap_least_min > 500


@pytest.mark.django_db
def test_window_that_stays_open_long_enough_needs_no_abrading():
    found = clocks(25.0, gap_greatest_min=Decimal(720), kinetics=KINETICS)
    assert found.gap_least_min < found.gap_greatest_min == 720


@pytest.mark.django_db
def test_system_without_a_greatest_gap_is_poured_on_as_soon_as_it_may():
    found = clocks(18.0, kinetics=None)
    assert found.gap_greatest_min == found.gap_least_min
