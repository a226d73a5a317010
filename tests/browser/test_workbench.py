"""The workbench in a browser, at a desk and on a phone: it fits, is drawn, and axe is content."""

from urllib.parse import urlencode

import pytest

from tests.browser import steps
from tests.planning.workbench.test_pages import LINKS

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

TABLES = {"data-sheet": 4}
"""Calculators that answer with a table alone, by its rows: a data sheet's at four temperatures."""
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def complaints(page):
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page, options={"runOnly": RULES}).response["violations"]
    return [(one["id"], one["nodes"][0]["html"][:120]) for one in found]


@pytest.mark.parametrize("width", [1280, 390])
def test_calculators_fit_and_can_be_used_by_everybody(shop, open_page, sign_in, width):
    page = open_page(width)
    sign_in(page, "tess")
    for name, query in LINKS.items():
        page.goto(f"/workbench/{name}/?{urlencode(query)}")
        rows = TABLES.get(name)
        if rows is None:
            assert page.locator("#answer .figure").count() >= 2, name
        else:
            assert page.locator("#answer tbody tr").count() == rows, name
        assert steps.no_sideways_scroll(page), name
        assert complaints(page) == [], name
        steps.shot(page, f"workbench-{name}-{width}")


def test_typed_figures_end_up_in_the_address(shop, open_page, sign_in):
    page = open_page(390)
    sign_in(page, "tess")
    page.goto("/workbench/dew-point/")
    page.locator("#air_c").fill("23")
    page.locator("#humidity_percent").fill("75")
    page.locator("#surface_c").fill("20")
    page.get_by_role("button", name="Work it out").tap()
    page.wait_for_url(lambda url: "humidity_percent=75" in url)
    assert "do not coat or pour" in page.locator("#answer").inner_text()
    figures = page.locator("#answer .figure__value, #answer .figure dd").all_inner_texts()
    assert any(text.startswith("18.3") for text in figures)  # dew point of 23 C at 75 %


def test_curve_of_a_lift_is_really_drawn(shop, open_page, sign_in):
    page = open_page(1280)
    sign_in(page, "tess")
    page.goto("/workbench/lift/?" + urlencode(LINKS["lift"]))
    box = page.locator("#answer svg[role=img]").first.bounding_box()
    assert box["width"] > 400
    assert box["height"] > 200
    assert page.locator("#answer svg polyline").count() == 5
