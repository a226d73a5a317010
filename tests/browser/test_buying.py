"""A purchasing day: from a shortage to goods on the shelf, by desk and by phone."""

from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from django.core import mail

from shop.ledger.models import Requirement
from shop.lots.models import Lot
from shop.materials.models import Material
from shop.materials.suppliers import Supplier
from shop.purchasing.models import PurchaseOrder
from shop.purchasing.queries import goods_cost
from tests.browser import steps
from tests.browser.conftest import EARLY
from tests.browser.test_pages import findings
from tests.shop.lots.pdfs import plain_pdf

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def shortage(shop):
    """A pour in four weeks that needs 3 kg of hardener more than there is."""
    hardener = Material.objects.get(code="HARD-T")
    Requirement.objects.create(
        site=shop, material=hardener, source="pour:1", label="D-1 A", quantity=Decimal(27),
        needed_at=EARLY + timedelta(days=29),
    )  # fmt: skip


def seen(page, name, width):
    """Look at a page as it stands: its width, what axe finds, a picture."""
    page.wait_for_load_state("networkidle")
    assert steps.no_sideways_scroll(page), name
    assert findings(page) == [], name
    steps.shot(page, f"{name}-{width}")


def test_from_a_shortage_to_the_shelf(shortage, open_page, sign_in):
    desk = open_page(1280)
    sign_in(desk, "bruno")
    desk.goto("/buying/")
    desk.get_by_role("button", name="Work out what to buy").click()
    desk.get_by_text("1 proposal worked out").wait_for()
    seen(desk, "buying-proposal", 1280)
    desk.locator("input[name=proposal]").check()
    desk.get_by_role("button", name="Approve what is ticked").click()
    desk.get_by_text("Approved as").wait_for()
    order = PurchaseOrder.objects.get(supplier__code="SUP-1")
    assert goods_cost(order) >= order.supplier.least_order == 150  # the proposal sees to that
    assert desk.get_by_text("takes no order below").count() == 0
    Supplier.objects.filter(code="SUP-1").update(least_order=900)  # the supplier asks for more
    desk.reload()
    desk.get_by_text("takes no order below 900.00 EUR").wait_for()
    desk.get_by_label("Order it all the same").check()
    desk.get_by_role("button", name="Order", exact=True).click()
    desk.get_by_text("this page says when it is sent").wait_for()
    desk.reload()
    seen(desk, "order-mailed", 1280)
    assert "Sent to orders@resins.example" in desk.locator("main").inner_text().replace("\n", " ")
    assert [one.to for one in mail.outbox] == [["orders@resins.example"]]

    phone = open_page(390)
    sign_in(phone, "tess")
    phone.goto("/stock/goods-in/")
    seen(phone, "goods-expected", 390)
    phone.get_by_role("link", name="Take in Hardener T, slow").click()
    packs = int(phone.locator("#containers").input_value())
    phone.locator("#lot_code").fill("HT-400")
    phone.locator("#expires_on").fill("2027-05-31")
    phone.locator("#location").select_option(label="Shelf A2")
    phone.locator("#certificate_file").set_input_files(
        {"name": "c.pdf", "mimeType": "application/pdf", "buffer": plain_pdf()}
    )
    steps.tap(phone, "Take in", exact=True)
    phone.get_by_text("have come in, as ordered").wait_for()
    steps.shot(phone, "lot-of-order-390")
    with phone.expect_download() as kept:
        phone.get_by_role("link", name="file").tap()
    assert Path(kept.value.path()).read_bytes() == plain_pdf()
    assert PurchaseOrder.objects.get(supplier__code="SUP-1").status == "received"
    assert sum(c.balance for c in Lot.objects.get(code="HT-400").containers.all()) == 3 * packs
    desk.goto("/buying/")
    desk.get_by_text("Nothing runs short in the next 90 days.").wait_for()


def test_the_other_pages_of_buying_have_nothing_serious_on_a_phone(shortage, open_page, sign_in):
    page = open_page(390)
    sign_in(page, "ada")
    material = Material.objects.get(code="HARD-T")
    for name, address in {
        "outlook": "/outlook/",
        "outlook-material": f"/outlook/{material.pk}/",
        "outlook-months": "/outlook/months/",
        "suppliers": "/buying/suppliers/",
        "costs": "/buying/costs/",
    }.items():
        page.goto(address)
        seen(page, name, 390)
