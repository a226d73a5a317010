"""The calculators over REST: figures known from elsewhere, and refusals that name the field."""

import json

import pytest

from planning.system_data import kinetics_origin, system_data
from planning.workbench.calculators import CALCULATORS
from shop import stores
from shop.models import ResinSystem


@pytest.fixture
def ask(api, systems):
    client = api("technician")

    def get(name, **query):
        return client.get(f"/api/v1/workbench/{name}", query)

    return get


def figures(response):
    assert response.status_code == 200, response.content
    return response.json()


def refusals(response):
    assert response.status_code == 400, response.content
    assert response["Content-Type"] == "application/problem+json"
    return {one.get("parameter"): one for one in response.json()["errors"]}


def test_list_names_every_calculator_with_what_it_asks(ask, api):
    listed = api("technician").get("/api/v1/workbench").json()["items"]
    assert [one["name"] for one in listed] == list(CALCULATORS)
    assert "depth_mm" in next(one for one in listed if one["name"] == "lift")["parameters"]


def test_volume_of_a_conical_casting_and_its_lifts(ask):
    """Rows P100 and P105: frustum of 100 and 60 mm radius, 150 mm high, 3.0788 L."""
    got = figures(ask("volume", shape="round", r_bottom_mm="60", r_top_mm="100", depth_mm="150",
                      system="T", poured_l="1.5"))  # fmt: skip
    assert got["volume_l"] == "3.079"
    assert got["mass_kg"] == "5.234"
    assert got["poured_depth_mm"] == "90.9"
    assert len(got["lifts"]) == 3
    assert sum(float(one["volume_l"]) for one in got["lifts"]) == pytest.approx(3.079, abs=2e-3)


def test_mix_of_a_volume_adds_every_loss(ask):
    """Row P081: 21.4 L at 1.7 kg/L with 5 % waste is 38.199 kg."""
    got = figures(ask("mix", system="T", volume_l="21.4", readability_g="1"))
    assert got["needed_kg"] == "38.199"
    assert float(got["resin_g"]) + float(got["hardener_g"]) == float(got["batch_g"]) >= 38199
    assert got["within_tolerance"] is True
    assert got["smallest_honest_batch_g"] == "482"
    assert got["hazard_statements"] == ["H315", "H317", "H314"]


def test_mix_by_volume_is_weighed_by_mass(ask):
    """Row P077: 100:25 by volume at 1.85 and 1.00 kg/L is 100:13.51 by mass."""
    got = figures(ask("mix", hardener_per_100_by_volume="25", resin_kg_l="1.85",
                      hardener_kg_l="1", volume_l="2", readability_g="1"))  # fmt: skip
    assert got["hardener_per_100"] == "13.5135"
    assert got["hardener_per_100_by_volume"] == "25.00"
    # 1.25 L hold 1.85 + 0.25 kg: 1.68 kg/L, so 2 L and 5 % of waste are 3.528 kg.
    assert got["needed_kg"] == "3.528"


def test_mix_too_small_for_the_scale_says_the_smallest_that_is_not(ask):
    got = figures(ask("mix", hardener_per_100="12", total_g="100", readability_g="1"))
    assert got["within_tolerance"] is False
    assert any("at least 482 g" in note["words"] for note in got["notes"])


def test_overpour_is_answered_with_what_to_add_and_what_it_no_longer_fits(ask):
    got = figures(ask("over-pour", system="T", resin_g="1000", hardener_g="130",
                      readability_g="1", pot_kg="1.2", lift_kg="2", stock_kg="0.05"))  # fmt: skip
    assert (got["add"], got["add_g"], got["new_total_g"]) == ("resin", "83", "1213")
    assert got["problems"] == [
        "The batch becomes 1213 g; this pot may hold 1200 g.",
        "83 g of resin are needed; 50 g are in stock.",
    ]


def test_pot_life_names_the_stricter_and_warns_of_a_forgotten_pot(ask):
    """Row P153: 25 kg at 25 C lives 47.4 min; the reference text peaks it at 99.6 C."""
    got = figures(ask("pot-life", system="T", shop_c="25", batch_kg="25"))
    assert got["pot_life_basis"] == "computed"
    assert (got["pot_life_min"], got["pot_life_datasheet_min"]) == ("47", "50")
    assert float(got["forgotten_peak_c"]) == pytest.approx(99.6, abs=1)
    assert any(note["tone"] == "stop" and "never seal it" in note["words"]
               for note in got["notes"])  # fmt: skip


def test_pot_life_from_the_datasheet_alone_is_shifted(ask):
    """Row P066's energy: 50 min at 25 C are 83.6 at 18 C."""
    got = figures(ask("pot-life", system="Q", shop_c="18", batch_kg="5"))
    assert got["pot_life_basis"] == "datasheet"
    assert got["pot_life_min"] == "84"
    assert got["bound_by"] == "mass that the pot life was read on"
    assert "forgotten_peak_c" not in got


def test_lift_peaks_as_published_and_keeps_the_stricter_depth(ask):
    """Rows P130 and P144: 76.1 C at 70 mm and 25 C on board; 74 mm reach 80 C."""
    got = figures(ask("lift", system="T", depth_mm="70", shop_c="25", tool_side="board"))
    assert got["peak_c"] == "76.1"
    assert got["peak_h"] == "5.5"
    assert (got["deepest_lift_mm"], got["deepest_lift_basis"]) == ("70", "datasheet")
    assert got["deepest_lift_computed_mm"] == "74"
    assert got["depth_allowed"] is True
    assert len(got["curve"]) > 20
    assert len({row["shop_c"] for row in got["peak_by_depth"]}) == 3


SECTION = {
    "system": "T", "shape": "long", "width_mm": "100", "depth_mm": "70", "shop_c": "25",
    "tool_side": "board", "wall_side": "board",
}  # fmt: skip


def test_narrow_casting_is_cooler_and_its_edges_are_later_than_the_lift_says(ask):
    """The figures of a wide casting are those of the calculator for lifts."""
    got = figures(ask("section", **SECTION))
    lift = figures(ask("lift", system="T", depth_mm="70", shop_c="25", tool_side="board"))
    assert (got["wide_peak_c"], got["wide_peak_h"]) == (lift["peak_c"], lift["peak_h"])
    share = (float(got["peak_c"]) - 25) / (float(lift["peak_c"]) - 25)
    assert float(got["rise_share"]) == pytest.approx(share, abs=0.006)
    assert share < 0.7
    assert got["wide_is_hotter"] is True
    assert got["wide_is_later"] is False
    assert float(got["cured_h"]) > float(got["wide_cured_h"])
    assert float(got["cured_h"]) < float(got["edge_cured_h"])
    assert [row["width_mm"] for row in got["by_width"]][:2] == ["35.0", "70.0"]
    shares = [float(row["rise_share"]) for row in got["by_width"]]
    assert shares == sorted(shares)


@pytest.mark.parametrize(("other", "basis"), [
    ({"mix_c": "40"}, "datasheet"),
    # Cured soon, but so bulky that it stays too hot to handle.
    ({"shop_c": "35", "width_mm": "400", "depth_mm": "300"}, "computed"),
])  # fmt: skip
def test_narrow_casting_is_demoulded_at_the_later_of_data_sheet_and_computed(ask, other, basis):
    got = figures(ask("section", **SECTION | other))
    assert got["demould_due_basis"] == basis
    both = (got["demould_due_datasheet_h"], got["demould_due_computed_h"])
    assert float(got["demould_due_h"]) == max(map(float, both))


def test_narrow_casting_that_never_cures_at_its_edges_has_no_demould_time(ask):
    got = figures(ask("section", **SECTION | {"shop_c": "-10", "width_mm": "20"}))
    assert (got["demould_due_h"], got["demould_due_basis"]) == (None, "computed")
    assert any(note["tone"] == "stop" for note in got["notes"])


def test_narrow_casting_without_kinetics_is_not_guessed(ask):
    got = figures(ask("section", **SECTION | {"system": "Q"}))
    assert "peak_c" not in got
    assert "cannot be computed" in got["notes"][0]["words"]


def test_pattern_larger_than_its_casting_is_refused_by_field(ask):
    told = refusals(ask("section", **SECTION, pattern_width_mm="100", pattern_height_mm="70"))
    assert told["pattern_width_mm"]["detail"] == (
        "pattern_width_mm is 100 mm; it must be less than width_mm, 100 mm."
    )
    assert "depth_mm, 70 mm" in told["pattern_height_mm"]["detail"]
    alone = refusals(ask("section", **SECTION, pattern_width_mm="50"))
    assert "needs its width and its height" in alone["pattern_height_mm"]["detail"]


@pytest.mark.parametrize(("typed_c", "as_if_c", "said"), [
    ("60", "60", False), ("80", "80", False), ("120", "80", True),
])  # fmt: skip
def test_of_the_typed_and_the_systems_own_peak_limit_the_lower_holds(ask, typed_c, as_if_c, said):
    about = {"system": "T", "depth_mm": "40", "shop_c": "22", "tool_side": "board"}
    typed, plain = ask("lift", **about, cap_c=typed_c).json(), ask("lift", **about).json()
    if as_if_c == "80":
        assert typed["deepest_lift_computed_mm"] == plain["deepest_lift_computed_mm"]
    else:
        deepest = float(typed["deepest_lift_computed_mm"])
        assert deepest < float(plain["deepest_lift_computed_mm"])
    notes = " ".join(note["words"] for note in typed["notes"])
    assert ("own limit of 80 °C is stricter than the 120 °C typed" in notes) == said


def test_lift_on_something_unknown_counts_as_insulated(ask):
    """Row P142: 107.5 C with the tool side insulated."""
    got = figures(ask("lift", system="T", depth_mm="70", shop_c="25"))
    assert got["peak_c"] == "107.5"
    assert got["depth_allowed"] is False
    assert any("counts as insulated" in note["words"] for note in got["notes"])
    assert any("deeper than the computed limit of 44 mm" in note["words"]
               for note in got["notes"])  # fmt: skip


def test_lift_without_kinetics_keeps_the_datasheet_depth(ask):
    got = figures(ask("lift", system="Q", depth_mm="90", shop_c="25"))
    assert got["deepest_lift_basis"] == "datasheet"
    assert got["depth_allowed"] is False
    assert "peak_c" not in got


def test_clocks_that_do_not_overlap_come_with_ways_out(ask):
    got = figures(ask("clocks", system="T", depth_mm="70", shop_c="28", tool_side="board"))
    assert got["overlap"] is False
    assert {one["kind"] for one in got["ways_out"]} >= {"thinner lifts", "wait and abrade"}


def test_cure_clock_of_a_pasted_record(ask):
    """Row P072: 24 h at 25 C take 40.1 h at 18 C for this energy."""
    got = figures(ask("cure", system="Q", record="hours;°C\n0;18\n6;18\n12;18", then_c="18"))
    assert got["demould_due_h"] == "40.1"
    assert got["age_h"] == "7.2"
    assert got["may_be_demoulded"] is False


def test_cure_clock_reads_moments_and_lays_a_post_cure_out(ask):
    got = figures(ask(
        "cure", system="T", record="2026-11-25T08:00,23.0\n2026-11-26T08:00,25.0", then_c="23",
        post_cure="50,10,240\n80,10,480",
    ))  # fmt: skip
    assert [stage["kind"] for stage in got["stages"]] == ["ramp", "soak", "ramp", "soak"]
    assert got["service_ok"] is True
    assert float(got["tg_after_post_cure_c"]) > 80


def test_dew_point_of_a_cold_tool(ask):
    """Row P121: 23 C air over a 20 C tool allows 69 %."""
    got = figures(ask("dew-point", air_c="23", humidity_percent="75", surface_c="20"))
    assert got["dry_enough"] is False
    assert got["highest_humidity_percent"] == "69"


def logged_pour(depth_mm, shop_c):
    from planning.core.casting.exotherm import lift_temps_c
    from tests.planning.core.casting.demo_resin import AIR, BOARD, DEMO

    hours = [0.5, 1.5, 2.5, 3.5, 4, 4.5, 5, 5.5, 6, 7, 8, 10, 14, 20]
    truth = lift_temps_c(DEMO, depth_mm, shop_c, BOARD, AIR, depth_mm / 2, hours)
    rows = "\n".join(f"{h:g},{t:.1f}" for h, t in zip(hours, truth, strict=True))
    return f"{depth_mm:g},{depth_mm / 2:g},{shop_c:g},board\n{rows}"


def test_fit_of_logged_pours_gives_back_the_kinetics_they_were_made_with(ask):
    pours = logged_pour(70.0, 25.0) + "\n\n" + logged_pour(50.0, 20.0)
    got = figures(ask("fit", system="T", pours=pours))
    assert float(got["kinetics"]["a1_per_s"]) == pytest.approx(1.9324e4, rel=0.01)
    assert float(got["kinetics"]["heat_j_kg"]) == pytest.approx(350e3, rel=0.01)
    for figure in got["figures"]:
        assert float(figure["low"]) <= float(figure["value"]) <= float(figure["high"])
    assert float(got["rms_k"]) < 0.1
    assert got["register"]["fitted"]["pours"] == 2
    assert got["register"]["thermal"]["heat_j_kg"] == float(got["kinetics"]["heat_j_kg"])
    assert any("2 records of this shop, not relied on" in note["words"] for note in got["notes"])


@pytest.mark.django_db
def test_kinetics_fitted_from_enough_records_are_told_as_the_shops_own_until_changed(ask):
    pours = "\n\n".join(logged_pour(*one) for one in ((70.0, 25.0), (50.0, 20.0), (60.0, 22.0)))
    kept = figures(ask("fit", system="T", pours=pours))["register"]
    system = ResinSystem.objects.get(code="T")
    system.kinetics = kept
    system.save()
    info = stores.systems([system.pk])[0]
    assert kinetics_origin(info).words == "fitted from 3 records of this shop"
    assert kinetics_origin(info).calibrated
    law = system_data(info).kinetics
    assert law.a1_per_s == kept["a1_per_s"]
    # How warm the records were stays with what was fitted to them, and far outside it is said.
    assert 15 < law.fitted_from_c < 25
    assert 60 < law.fitted_to_c < 90
    assert not law.beyond_records(20)
    assert law.beyond_records(law.fitted_from_c - 15.1)
    assert law.beyond_records(law.fitted_to_c + 15.1)
    system.hardener_per_100 += 1
    system.save()
    assert not kinetics_origin(stores.systems([system.pk])[0]).calibrated


def test_fit_of_times_gives_an_activation_energy(ask):
    """Row P063: half the time from 25 to 35 C is 52.95 kJ/mol."""
    got = figures(ask("fit", system="Q", times="25,60\n35,30"))
    assert got["activation_kj_mol"] == "52.95"
    assert got["activation_high_kj_mol"] is None
    assert any("no interval" in note["words"] for note in got["notes"])


def test_properties_of_a_filled_resin_from_its_parts(ask):
    """Rows P054-P056, P075, P076 and P084 ff.; Maxwell between its rows at 0.3 and 0.4."""
    got = figures(ask("properties", resin_kg_l="1.12", filler_kg_l="2.7", mixed_kg_l="1.7",
                      filler_w_mk="237", epoxide_equivalent_g="190",
                      amine_equivalent_g="24.4"))  # fmt: skip
    assert got["filler_volume_percent"] == "36.7"
    assert got["filler_mass_percent"] == "58.3"
    assert got["density_check_kg_l"] == "1.7000"
    assert 0.456 < float(got["conductivity_maxwell_w_mk"]) < 0.598
    assert (got["hardener_per_100"], got["heat_j_g"]) == ("12.84", "490")
    assert got["gel_conversion"] == "0.577"


@pytest.mark.parametrize(("name", "query", "parameter", "said"), [
    ("fit", {"system": "Q", "pours": "70,35,25,board\n1,30\n2,40\n3,50\n4,60"}, "pours", None),
    ("fit", {"system": "T", "pours": "70,35,25,cheese\n1,30\n2,40\n3,50\n4,60"}, "pours",
     "pours, the pour at line 1: tool side is 'cheese'; it must be one of metal, board, foam, "
     "unknown."),
    ("fit", {"system": "T", "times": "25,60,1"}, "times", None),
    ("fit", {"system": "T"}, "pours",
     "pours and times: neither given; give at least one of them."),
    ("properties", {"resin_kg_l": "1.12", "filler_kg_l": "2.7", "mixed_kg_l": "3"}, "mixed_kg_l",
     "mixed_kg_l is 3 kg/L; it must lie between its parts', 1.12 and 2.7 kg/L, which must "
     "differ."),
    ("mix", {"hardener_per_100_by_volume": "25", "total_g": "500", "readability_g": "1",
             "resin_kg_l": "1.85"}, "hardener_kg_l",
     "hardener_kg_l is missing; a ratio by volume needs it."),
    ("lift", {"system": "T", "depth_mm": "-5", "shop_c": "25"}, "depth_mm",
     "depth_mm is -5 mm; it must be above 0 and at most 1000 mm."),
    ("lift", {"system": "T", "depth_mm": "70"}, "shop_c",
     "shop_c is missing; give -10 to 60 °C."),
    ("lift", {"system": "X", "depth_mm": "70", "shop_c": "25"}, "system",
     "system is 'X'; it must be one of Q, T."),
    ("lift", {"system": "T", "depth_mm": "NaN", "shop_c": "25"}, "depth_mm",
     "depth_mm is 'NaN'; it must be a number such as 12.5, with a point."),
    ("lift", {"system": "T", "depth_mm": "70", "shop_c": "25", "tool_side": "cheese"},
     "tool_side", "tool_side is 'cheese'; it must be one of metal, board, foam, unknown."),
    ("lift", {"system": "T", "depth_mm": "70", "shop_c": "25", "tool_side": ""},
     "tool_side", "tool_side is empty; give a value or leave it out."),
    ("mix", {"total_g": "500", "volume_l": "2", "readability_g": "1", "hardener_per_100": "12"},
     "total_g", "total_g and volume_l: both given; give exactly one of them."),
    ("mix", {"total_g": "500", "readability_g": "1"}, "hardener_per_100",
     "hardener_per_100 is missing; type it, or choose a system that has it."),
    ("mix", {"total_g": "500", "readability_g": "1", "hardener_per_100": "0"},
     "hardener_per_100",
     "hardener_per_100 is 0 parts; it must be above 0 and at most 1000 parts."),
    ("volume", {"length_mm": "100", "width_mm": "100", "depth_mm": "50",
                "pattern_volume_l": "9"}, "pattern_volume_l", None),
    ("volume", {"shape": "bowl", "depth_mm": "50"}, "radius_mm",
     "radius_mm is missing; a bowl needs it."),
    ("cure", {"system": "Q", "then_c": "20", "record": "0,20\n4,21,5"}, "record",
     "record, line 2: '4,21,5' has 3 parts; it must be a time and a temperature such as 4.5, "
     "21.0, with a decimal point."),
    ("cure", {"system": "Q", "then_c": "20", "record": "0,20\n4,21\n4,22"}, "record",
     "record, line 3: the time 4 is not after the line before; times must rise."),
    ("cure", {"system": "Q", "then_c": "20", "post_cure": "900,10,60"}, "post_cure", None),
    ("dew-point", {"air_c": "20", "humidity_percent": "130", "surface_c": "20"},
     "humidity_percent",
     "humidity_percent is 130 %; it must be above 0 and at most 100 %."),
    ("dew-point", {"air_c": "20", "humidity_percent": "50", "surface_c": "20", "colour": "red"},
     "colour", None),
])  # fmt: skip
def test_bad_figures_are_refused_by_name_value_limit_and_unit(ask, name, query, parameter, said):
    told = refusals(ask(name, **query))
    assert parameter in told
    if said:
        assert told[parameter]["detail"] == said


def test_refusal_carries_figures_for_programs(ask):
    told = refusals(ask("lift", system="T", depth_mm="4000", shop_c="25"))["depth_mm"]
    assert (told["value"], told["unit"], told["code"]) == ("4000", "mm", "out_of_range")
    assert "1000" in told["limit"]


def test_every_bad_figure_is_named_at_once(ask):
    told = refusals(ask("lift", system="T", depth_mm="-1", shop_c="999", cap_c="x"))
    assert set(told) == {"depth_mm", "shop_c", "cap_c"}


def test_over_pour_the_scale_cannot_put_right_is_told(ask):
    told = refusals(ask("over-pour", hardener_per_100="12", resin_g="100", hardener_g="5",
                        readability_g="10"))  # fmt: skip
    assert "cannot reach 2 %" in told[None]["detail"]


def test_fields_choose_figures(ask):
    got = figures(ask("dew-point", air_c="20", humidity_percent="50", surface_c="20",
                      fields="dew_point_c"))  # fmt: skip
    assert got == {"dew_point_c": "9.3"}


def test_nothing_is_answered_to_strangers(api, systems):
    for name in CALCULATORS:
        assert api(None).get(f"/api/v1/workbench/{name}").status_code == 401


def test_nothing_can_be_written(api, systems):
    assert api("administrator").post("/api/v1/workbench/mix", {}).status_code == 405


@pytest.mark.parametrize("role", ["technician", "planner", "purchasing", "tool_keeper",
                                  "quality", "administrator", "integration"])  # fmt: skip
def test_every_role_may_calculate(api, systems, role):
    query = {"air_c": "20", "humidity_percent": "50", "surface_c": "20"}
    assert api(role).get("/api/v1/workbench/dew-point", query).status_code == 200


def test_numbers_are_decimal_strings(ask):
    text = ask("pot-life", system="T", shop_c="25", batch_kg="5").content.decode()
    numbers = []
    json.loads(text, parse_float=numbers.append, parse_int=numbers.append)
    assert numbers == []
