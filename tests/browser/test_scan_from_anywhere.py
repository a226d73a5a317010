"""The button in the head of every page: the camera, or the short code typed, at 390 px."""

import pytest

from shared.codes.finding import code_of
from shop.lots.models import Container
from tests.browser import steps

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
PAGES = ("/today/", "/week/", "/orders/", "/stock/", "/tools/", "/workbench/", "/reminders/")


@pytest.fixture
def page(shop, open_page, sign_in):
    found = open_page(390)
    sign_in(found, "tess")
    return found


@pytest.fixture
def can(shop):
    return Container.objects.filter(lot__code="T-4711").first()


@pytest.mark.parametrize("address", PAGES)
def test_it_stands_in_the_head_of_each_page_and_fits(page, address):
    page.goto(address)
    button = page.locator("header").get_by_role("link", name="Scan", exact=True)
    box = button.bounding_box()
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= 390
    assert box["height"] >= 44
    assert steps.no_sideways_scroll(page)


def test_a_short_code_typed_there_opens_what_it_names(page, can):
    page.goto("/today/")
    page.locator("#scan-open").tap()
    steps.shot(page, "scan-dialog")
    page.get_by_label("Short code on the label").fill(code_of("can", can.pk).lower())
    page.locator("#scan-dialog").get_by_role("button", name="Open").tap()
    page.wait_for_url(f"**/stock/lots/*/?container={can.pk}")


def test_a_wrong_code_is_told_with_the_code(page, troubles):
    page.goto("/today/")
    page.locator("#scan-open").tap()
    page.get_by_label("Short code on the label").fill("C-0000-X")
    page.locator("#scan-dialog").get_by_role("button", name="Open").tap()
    page.wait_for_url("**/scan/?code=C-0000-X")
    assert "C-0000-X" in page.locator("main").inner_text()
    assert all(one.startswith("404") or "404" in one for one in troubles)
    troubles.clear()


def test_on_a_page_that_asks_for_a_code_it_goes_into_that_field(page, can):
    page.goto("/tools/")
    page.locator("#scan-open").tap()
    page.get_by_label("Short code on the label").fill(code_of("can", can.pk))
    page.locator("#scan-dialog").get_by_role("button", name="Open").tap()
    page.wait_for_url(f"**/stock/lots/*/?container={can.pk}")


def test_the_camera_is_asked_from_there_and_the_dialog_closes(page):
    page.goto("/today/")
    page.evaluate(
        """() => {
          window.Camera = { read: async (asked) => { window.asked = asked; return null; } };
        }"""
    )
    page.locator("#scan-open").tap()
    page.locator("#scan-camera").tap()
    page.wait_for_function("() => window.asked && window.asked.goods === false")
    assert not page.locator("#scan-dialog").is_visible()
    page.locator("#scan-open").tap()
    page.locator("#scan-close").tap()
    assert not page.locator("#scan-dialog").is_visible()


def test_without_script_it_leads_to_the_page_that_asks_for_a_code(page):
    page.goto("/today/")
    assert page.locator("#scan-open").get_attribute("href") == "/scan/"
