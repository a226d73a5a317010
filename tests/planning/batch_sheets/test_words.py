"""What a sheet says in words: only work that is to do, the ratio for the resin really weighed."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest

from planning.batch_sheets.words import BRUSH, after_of, hardener_rule, how_of, step_of, work_of

PORTION = {
    "lift": 1,
    "lifts": 2,
    "depth_mm": Decimal("45.000000"),
    "place": "Bench 1",
    "abrade_first": False,
    "brush_coat_kg": Decimal("0.3"),
    "attend_min": 100,
    "gap_least_min": 120,
    "gap_greatest_min": 240,
    "next_lift": 2,
    "next_at": datetime(2026, 11, 30, 9, 0, tzinfo=UTC),
}


def test_a_brush_coat_is_asked_for_only_where_a_portion_meets_its_pattern():
    below = {"stir": ["Resin"], "portions": [PORTION], "mix_min": 4}
    above = {**below, "stir": [], "portions": [{**PORTION, "brush_coat_kg": Decimal(0)}]}
    assert BRUSH in work_of(below)
    assert work_of(below)[0].startswith("First stir Resin to the bottom")
    assert "tare to 0" in work_of(below)[1]
    assert BRUSH not in work_of(above)


def test_the_hardener_is_told_for_the_resin_really_weighed():
    words = hardener_rule(
        {
            "ratios": [
                {
                    "role": "hardener",
                    "per_100": Decimal("12.500"),
                    "tolerance_percent": Decimal("2.00"),
                }
            ]
        }
    )
    assert "resin really weighed × 0.125, allowed × 0.1225 to × 0.1275." in words


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        pytest.param({}, "Lift 2: 2 h to 4 h after it; planned Mon 30 Nov 10:00.", id="a window"),
        pytest.param(
            {"gap_greatest_min": 60},
            "Lift 2: from 2 h after it; it bonds only to 1 h: ABRADE before it",
            id="no window",
        ),
        pytest.param({"gap_greatest_min": 0}, "Lift 2: from 2 h after it; planned", id="open"),
        pytest.param({"next_lift": None, "next_at": None}, "Top lift.", id="the last one"),
    ],
)
def test_what_follows_a_pour_is_counted_from_it(changes, words):
    told = after_of({**PORTION, **changes}, "Europe/Berlin").replace("\u202f", " ")
    told = told.replace("\xa0", " ")
    assert told.startswith("Hottest about 1 h 40 min after it: somebody stays.")
    assert words in told


def test_where_a_portion_goes_names_lift_depth_place_and_what_to_do_before():
    assert how_of(PORTION) == (
        "Lift 1 of 2, 45.0 mm deep; Bench 1; brush coat 0.300 kg of it first"
    )
    assert "ABRADE AND CLEAN" in how_of({**PORTION, "abrade_first": True})


def test_a_step_that_waits_in_an_oven_tells_which_and_when():
    load = {"name": "Oven", "cycle": "60 °C", "start_at": datetime(2026, 11, 30, 14, tzinfo=UTC)}
    assert step_of({"name": "Post-cure", "oven": None}, "Europe/Berlin") == "Post-cure"
    words = step_of({"name": "Post-cure", "oven": load}, "Europe/Berlin")
    assert words == "Post-cure; into Oven (60 °C) at 15:00"


def test_each_container_is_mixed_half_of_the_systems_mixing_time():
    batch = {"stir": [], "portions": [], "mix_min": 5}
    mixing = [words for words in work_of(batch) if "at least 2.5 min" in words]
    assert [words.split()[0] for words in mixing] == ["Mix", "Pour"]
