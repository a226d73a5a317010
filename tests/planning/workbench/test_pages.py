"""The workbench on pages: links carry inputs, answers and refusals are readable."""

import re
from html import unescape

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from planning.workbench.calculators import CALCULATORS

LINKS = {
    "volume": {"length_mm": "400", "width_mm": "300", "depth_mm": "150", "system": "T"},
    "mix": {"system": "T", "total_g": "5600", "readability_g": "1"},
    "over-pour": {"system": "T", "resin_g": "1000", "hardener_g": "130", "readability_g": "1"},
    "pot-life": {"system": "T", "shop_c": "25", "batch_kg": "5"},
    "lift": {"system": "T", "depth_mm": "70", "shop_c": "25", "tool_side": "board"},
    "section": {
        "system": "T",
        "shape": "long",
        "width_mm": "100",
        "depth_mm": "70",
        "shop_c": "25",
        "tool_side": "board",
        "wall_side": "board",
    },
    "data-sheet": {"system": "T", "pot_life_min": "50", "reference_c": "25"},
    "clocks": {"system": "T", "depth_mm": "70", "shop_c": "25", "tool_side": "board"},
    "cure": {"system": "T", "record": "0,21\n6,24\n12,19", "then_c": "20"},
    "dew-point": {"air_c": "20", "humidity_percent": "50", "surface_c": "20"},
    "fit": {
        "system": "T",
        "times": "18,101\n25,61\n35,30.5",
        "pours": "70,35,25,board\n1,28.3\n3,41\n4,53\n5,71\n5.5,75.4\n6,74\n8,58\n12,37\n20,27",
    },
    "properties": {
        "resin_kg_l": "1.12",
        "filler_kg_l": "2.7",
        "mixed_kg_l": "1.7",
        "filler_w_mk": "237",
        "epoxide_equivalent_g": "190",
        "amine_equivalent_g": "24.4",
    },
}


def words(response):
    body = response.content.decode()
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", body)))


@pytest.fixture
def browser(browser_of, systems):
    return browser_of("technician")


def test_links_cover_every_calculator():
    assert set(LINKS) == set(CALCULATORS)


def test_list_leads_to_every_calculator(browser):
    page = browser.get("/workbench/").content.decode()
    assert all(f'href="/workbench/{name}/"' in page for name in CALCULATORS)


@pytest.mark.parametrize("name", CALCULATORS)
def test_fresh_page_asks_and_answers_nothing(browser, name):
    page = browser.get(f"/workbench/{name}/")
    assert page.status_code == 200
    assert 'id="answer"' not in page.content.decode()
    assert "Work it out" in words(page)


@pytest.mark.parametrize("name", LINKS)
def test_link_carries_the_figures_and_shows_the_answer(browser, name):
    page = browser.get(f"/workbench/{name}/", LINKS[name])
    body = page.content.decode()
    assert page.status_code == 200
    assert 'id="answer"' in body
    for field, value in LINKS[name].items():
        if field in ("system", "shape", "tool_side", "wall_side"):
            assert f'<option value="{value}" selected>' in body
        elif "\n" not in value:
            assert f'name="{field}" value="{value}"' in body
    assert "style=" not in body
    assert "<script>" not in body


@pytest.mark.parametrize("name", LINKS)
def test_nothing_is_stored(browser, name):
    browser.get("/workbench/")  # the session is made
    with CaptureQueriesContext(
        connection,
    ) as asked:
        browser.get(f"/workbench/{name}/", LINKS[name])
    writes = [q["sql"] for q in asked if re.match(r"\s*(INSERT|UPDATE|DELETE)", q["sql"], re.I)]
    assert [sql for sql in writes if "session" not in sql] == []


def test_lift_is_drawn_with_words_for_those_who_cannot_see_it(browser):
    body = browser.get("/workbench/lift/", LINKS["lift"]).content.decode()
    assert body.count('role="img"') == 2
    assert "it peaks at 76 °C after 5.5 h" in body
    assert "<caption>Peak in °C by depth and shop temperature</caption>" in body


def test_lift_names_the_stricter_limit(browser):
    text = words(browser.get("/workbench/lift/", LINKS["lift"]))
    assert "Stricter: data sheet; computed 74 mm." in text
    assert "not a safety device" in text


def test_cautions_of_the_systems_parts_are_shown(browser):
    text = words(browser.get("/workbench/mix/", LINKS["mix"]))
    assert "H314" in text
    assert "Follow the safety data sheet" in text


def test_bad_figure_stands_beside_its_field_and_keeps_what_was_typed(browser):
    page = browser.get("/workbench/lift/", LINKS["lift"] | {"depth_mm": "-70"})
    assert 'id="answer"' not in page.content.decode()
    assert "Depth of the lift is -70 mm; it must be above 0 and at most 1000 mm." in words(page)
    assert 'aria-invalid="true"' in page.content.decode()
    assert 'value="-70"' in page.content.decode()


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"total_g": "much"}, "Mass to mix is 'much'; it must be a number such as 12.5"),
        ({}, "Mass to mix and volume to fill: neither given; give exactly one of them."),
        (
            {"total_g": "100", "hardener_per_100_by_volume": "20", "system": ""},
            "is missing; a ratio by volume needs it.",
        ),
    ],
)
def test_a_refusal_names_the_field_as_the_page_does(browser, given, said):
    page = words(browser.get("/workbench/mix/", {"system": "T", "readability_g": "1", **given}))
    assert said in page
    assert not re.search(r"\b(total_g|volume_l|resin_kg_l|hardener_kg_l) (is|and)\b", page)


def test_what_was_typed_cannot_break_the_page(browser):
    evil = '"><script>alert(1)</script>'
    body = browser.get("/workbench/lift/", LINKS["lift"] | {"depth_mm": evil}).content.decode()
    assert "<script>alert" not in body


def test_unknown_calculator_is_not_found(browser):
    assert browser.get("/workbench/horoscope/").status_code == 404


def test_strangers_sign_in_first(client, systems):
    assert client.get("/workbench/").status_code == 302


def test_fresh_page_begins_with_the_shop_temperature_expected_today(browser):
    body = browser.get("/workbench/lift/").content.decode()
    assert re.search(r'name="shop_c" value="-?\d+(\.\d+)?"', body)
