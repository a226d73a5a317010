"""Pages of stock and tools at both widths, and a delivery taken in by phone."""

import pytest

from shop.counting.models import CycleCount
from shop.lots.models import Container, Lot
from shop.tools.actions import add_event, make_tool
from shop.tools.models import Tool
from tests.browser import steps
from tests.browser.conftest import EARLY
from tests.browser.test_pages import findings

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def tool(shop):
    """A tool in service that is due for a re-coat."""
    made = make_tool(site_id=shop.pk, code="GRIP-1", name="Grip", kind="single")
    Tool.objects.update(status="in_service", shots_per_coat=10, expected_shots=200)
    add_event(tool_id=made.id, kind="shots", key="s", at=EARLY, shots=12)
    return made


def addresses(tool):
    lot = Lot.objects.get(code="T-4711")
    return {
        "stock": "/stock/",
        "lots": "/stock/lots/",
        "lot": f"/stock/lots/{lot.pk}/?container={lot.containers.first().pk}",
        "goods in": "/stock/goods-in/",
        "labels": f"/stock/labels/?lot={lot.pk}",
        "counts": "/stock/counts/",
        "tools": "/tools/",
        "tool": f"/tools/{tool.id}/",
        "trace": "/trace/",
        "trace of a lot": f"/trace/?lot={lot.pk}",
        "trace of a tool": f"/trace/?tool={tool.id}",
    }


@pytest.mark.parametrize("width", [390, 1280])
def test_pages_have_no_error_no_sideways_scroll_and_nothing_serious(
    tool, open_page, sign_in, width
):
    page = open_page(width)
    sign_in(page, "ada")
    for name, address in addresses(tool).items():
        page.goto(address)
        page.wait_for_load_state("networkidle")
        assert steps.no_sideways_scroll(page), name
        assert findings(page) == [], name
        steps.shot(page, f"{name.replace(' ', '-')}-{width}")


def test_a_technician_takes_a_delivery_in_by_phone(shop, open_page, sign_in):
    page = open_page(390)
    sign_in(page, "tess")
    page.goto("/stock/")
    steps.tap(page, "Goods in")
    page.locator("#material").select_option(label="Hardener T, slow, HARD-T, in kg")
    page.locator("#supplier").select_option(label="Invented Resins")
    page.locator("#lot_code").fill("HT-400")
    page.locator("#expires_on").fill("2027-05-31")
    page.locator("#containers").fill("2")
    page.locator("#quantity").fill("3")
    page.locator("#location").select_option(label="Shelf A2")
    steps.shot(page, "goods-in-filled-390")
    steps.tap(page, "Take in", exact=True)
    page.get_by_text("2 containers taken in").wait_for()
    steps.shot(page, "lot-after-goods-in-390")
    assert [c.balance for c in Container.objects.filter(lot__code="HT-400")] == [3, 3]


def test_a_shelf_is_counted_blind_by_phone(shop, open_page, sign_in):
    page = open_page(390)
    sign_in(page, "tess")
    page.goto("/stock/counts/")
    page.locator("#location").select_option(label="Shelf A2, never counted")
    steps.tap(page, "Begin", exact=True)
    can = Container.objects.filter(location__code="A2").first()
    page.locator("#code").fill(can.code)
    page.locator("#figure").fill("2.5")
    steps.tap(page, "Write down", exact=True)
    page.get_by_text("somebody else counts it again").wait_for()
    steps.shot(page, "count-390")
    line = CycleCount.objects.get().lines.get(container=can)
    assert (float(line.first), line.expected, line.second_wanted) == (2.5, can.balance, True)
    assert "3.000" not in page.locator("main").inner_text()


def test_the_form_of_a_tool_asks_for_what_belongs_to_the_event(tool, open_page, sign_in):
    page = open_page(390)
    sign_in(page, "karin")
    page.goto(f"/tools/{tool.id}/")
    shots, coats = page.locator("#shots"), page.locator("#coats")
    assert (shots.is_visible(), coats.is_visible()) == (True, False)
    shots.fill("7")
    page.locator("#kind").select_option("note")
    assert (shots.is_visible(), coats.is_visible()) == (False, False)
    page.get_by_label("In words").first.fill("a scratch beside the gate")
    steps.tap(page, "Write down", exact=True)
    page.get_by_text("a scratch beside the gate").wait_for()
    note = Tool.objects.get(pk=tool.id).events.get(kind="note")
    assert not note.shots, "what was typed before another kind was chosen is not sent"
