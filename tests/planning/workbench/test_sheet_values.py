"""The values of a data sheet come to something before they are saved, beside the former ones."""

import pytest

from planning.core.casting.arrhenius import shift_range
from planning.core.casting.limits import depth_and_clock_limits
from planning.system_data import system_data
from shop import stores

TEMPS = (15, 20, 25, 30)


@pytest.fixture
def ask(api, systems):
    def call(**query):
        return api("technician").get("/api/v1/workbench/data-sheet", query)

    return call


def test_a_new_system_is_shifted_to_four_temperatures(ask):
    got = ask(
        pot_life_min="50", reference_c="25", deepest_lift_mm="40", demould_min="1440",
        activation_kj_mol="58",
    ).json()  # fmt: skip
    for shop_c in TEMPS:
        (pot, _), (_, cure) = (
            shift_range(minutes, 25.0, shop_c, [58_000.0]) for minutes in (50.0, 1440.0)
        )
        assert float(got[f"pot_life_min_at_{shop_c}_c"]) == pytest.approx(pot, abs=0.5)
        assert float(got[f"demould_h_at_{shop_c}_c"]) == pytest.approx(cure / 60, abs=0.5)
        assert got[f"deepest_lift_mm_at_{shop_c}_c"] == "40"
        assert got[f"former_pot_life_min_at_{shop_c}_c"] is None


def test_a_fahrenheit_slip_is_seen_beside_the_former_values(ask):
    """73.4 typed for 73.4 °F: the pot life at 25 °C grows by many times what it was."""
    slip = ask(system="T", reference_c="73.4").json()
    right = ask(system="T", reference_c="73.4 °F").json()
    former = float(slip["former_pot_life_min_at_25_c"])
    assert right["former_pot_life_min_at_25_c"] == slip["former_pot_life_min_at_25_c"]
    assert float(right["pot_life_min_at_25_c"]) < 1.3 * former
    system = system_data(stores.system_by_code("T"))
    for shop_c in TEMPS:
        found = depth_and_clock_limits(system, float(shop_c))
        assert float(slip[f"former_deepest_lift_mm_at_{shop_c}_c"]) == pytest.approx(
            found.deepest_lift_mm.value, abs=0.5
        )


def test_what_is_left_out_stays_as_the_system_has_it_and_what_is_needed_is_asked_for(ask):
    same = ask(system="T").json()
    for shop_c in TEMPS:
        for name in ("pot_life_min", "deepest_lift_mm", "demould_h"):
            assert same[f"{name}_at_{shop_c}_c"] == same[f"former_{name}_at_{shop_c}_c"]
    refused = ask(pot_life_min="50")
    assert refused.status_code == 400
    named = {one["parameter"] for one in refused.json()["errors"]}
    assert named == {"reference_c", "deepest_lift_mm", "demould_min"}


@pytest.mark.parametrize(("typed", "unit"), [("25", "25"), ("77 °F", "25"), ("77F", "25")])
def test_a_figure_may_carry_its_own_unit(ask, typed, unit):
    metric = {"pot_life_min": "50", "deepest_lift_mm": "40", "demould_min": "1440"}
    assert ask(reference_c=typed, **metric).json() == ask(reference_c=unit, **metric).json()
    assert ask(reference_c="77 lb", **metric).status_code == 400
