import pytest

from shop.ledger.models import Movement
from shop.proposals.models import PurchaseProposal
from shop.purchasing.models import OrderStatus, PurchaseOrder
from tests.factories.purchasing import make_need, make_order, make_pack
from tests.factories.shop import make_supplier

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]


def test_a_purchasing_day_by_hand_from_shortage_to_receipt(
    browser_of, site, mailoutbox, django_capture_on_commit_callbacks
):
    pack = make_pack(supplier=make_supplier(order_email="orders@supplier.example"))
    make_need(site, pack.material, 14, 8, "P1")
    buyer = browser_of("purchasing")
    assert "P1" in buyer.get("/buying/").content.decode()
    shown = buyer.post("/buying/work-out/", follow=True).content.decode()
    assert "covers 8 kg for P1" in shown
    assert "Goods 120.00 EUR" in shown
    proposal = PurchaseProposal.objects.get()
    buyer.post("/buying/decide/", {"proposal": proposal.pk, "verdict": "approve"})
    order = PurchaseOrder.objects.get()
    at = f"/buying/orders/{order.pk}"
    with django_capture_on_commit_callbacks(execute=True):
        buyer.post(f"{at}/place/", {"mail": "1"})
    assert len(mailoutbox) == 1
    line = order.lines.get()
    buyer.post(
        f"{at}/confirm/",
        {"reference": "AB-9", f"packs-{line.pk}": "2", f"due-{line.pk}": "2026-12-04"},
    )
    taken = {
        "line": line.pk, "lot_code": "L-1", "expires_on": "2027-10-01", "packs": "2",
        "content": "5", "receipt_key": "abc",
    }  # fmt: skip
    buyer.post(f"{at}/receive/", taken)
    buyer.post(f"{at}/receive/", taken)  # the button pressed twice
    order.refresh_from_db()
    assert (order.status, order.supplier_reference) == (OrderStatus.RECEIVED, "AB-9")
    assert Movement.objects.count() == 2
    page = buyer.get(f"{at}/").content.decode()
    assert "All received" in page
    assert "Nothing runs short" in buyer.get("/buying/").content.decode()


def test_prices_do_not_reach_pages_of_those_who_may_not_see_them(browser_of, site):
    order = make_order(site)
    make_need(site, order.lines.get().material, 30, 30)
    browser_of("purchasing").post("/buying/work-out/")
    quality = browser_of("quality")
    for path in ("/buying/", f"/buying/orders/{order.pk}/", "/buying/orders/"):
        text = quality.get(path).content.decode()
        assert "120.00" not in text
        assert "EUR" not in text
    assert quality.get(f"/buying/orders/{order.pk}/order.pdf").status_code == 403


def test_a_technician_has_no_buying_page_and_no_prices_in_the_outlook(browser_of, site):
    order = make_order(site)
    technician = browser_of("technician")
    assert technician.get("/buying/").status_code == 403
    for path in ("/outlook/", f"/outlook/{order.lines.get().material_id}/"):
        answer = technician.get(path)
        assert answer.status_code == 200
        assert "EUR" not in answer.content.decode()


def test_nothing_ticked_or_no_reason_is_said_and_changes_nothing(browser_of, site):
    pack = make_pack()
    make_need(site, pack.material, 14, 8)
    buyer = browser_of("purchasing")
    buyer.post("/buying/work-out/")
    shown = buyer.post("/buying/decide/", {"verdict": "approve"}, follow=True).content.decode()
    assert "choose at least one" in shown
    pk = PurchaseProposal.objects.get().pk
    shown = buyer.post(
        "/buying/decide/", {"proposal": pk, "verdict": "refuse"}, follow=True
    ).content.decode()
    assert "say why it is not bought" in shown
    assert PurchaseProposal.objects.get().status == "proposed"


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({"packs": "two"}, "packs is &#x27;two&#x27;; give a whole number"),
        ({"packs": "0"}, "packs is 0; give 1 to 500"),
        ({"content": "5,5"}, "give a decimal such as 12.5, with a point"),
        ({"expires_on": "2027-02-30"}, "give a day that exists"),
        ({"lot_code": " "}, "lot_code is empty"),
        ({"content": "99"}, "Send the rest back"),
        ({"expires_on": "2026-01-01"}, "usable until 2026-01-01"),
    ],
)
def test_bad_receipts_are_refused_in_words_and_change_nothing(browser_of, site, sent, words):
    order = make_order(site)
    line = order.lines.get()
    body = {
        "line": line.pk, "lot_code": "L", "expires_on": "2027-10-01", "packs": "1",
        "content": "5", "receipt_key": "k",
    }  # fmt: skip
    answer = browser_of("purchasing").post(
        f"/buying/orders/{order.pk}/receive/", body | sent, follow=True
    )
    assert words in answer.content.decode()
    assert Movement.objects.count() == 0


def test_an_unknown_deed_or_anothers_order_leads_nowhere(browser_of, site, other_site):
    buyer, mine = browser_of("purchasing"), make_order(site)
    assert buyer.post(f"/buying/orders/{mine.pk}/explode/").status_code == 404
    assert buyer.get(f"/buying/orders/{make_order(other_site).pk}/").status_code == 404


def test_a_planner_may_look_and_not_act(browser_of, site):
    order = make_order(site)
    planner = browser_of("planner")
    page = planner.get(f"/buying/orders/{order.pk}/").content.decode()
    assert "Close the order" not in page
    planner.post(f"/buying/orders/{order.pk}/close/", {"reason": "x"})
    order.refresh_from_db()
    assert order.status == OrderStatus.ORDERED


def test_an_order_written_by_hand_has_the_price_of_its_break(browser_of, site):
    pack = make_pack()
    make_pack(pack.material, pack.supplier, price="50", from_packs=10)
    buyer = browser_of("purchasing")
    assert "Write an order by hand" in buyer.get("/buying/orders/").content.decode()
    sent = {"pack": pack.pk, "packs": "12", "expected_on": "2026-12-09"}
    buyer.post("/buying/orders/write/", sent)
    order = PurchaseOrder.objects.get()
    assert (order.status, order.lines.get().pack_price) == (OrderStatus.DRAFT, 50)
    buyer.post(f"/buying/orders/{order.pk}/approve/")
    order.refresh_from_db()
    assert order.status == OrderStatus.APPROVED


@pytest.mark.parametrize(
    ("sent", "words"), [({"pack": "0"}, "pack is empty"), ({"packs": "0"}, "give 1 to 10000")]
)
def test_an_order_by_hand_that_makes_no_sense_is_refused(browser_of, site, sent, words):
    body = {"pack": make_pack().pk, "packs": "1"} | sent
    answer = browser_of("purchasing").post("/buying/orders/write/", body, follow=True)
    assert words in answer.content.decode()
    assert PurchaseOrder.objects.count() == 0


def test_a_scanned_label_fills_in_what_was_left_empty(browser_of, site):
    order = make_order(site, make_pack(gtin="09520123456788"))
    line = order.lines.get()
    scan = "]d2010952012345678817280331310300500010LOT-7A"
    body = {"line": line.pk, "packs": "1", "receipt_key": "k", "scan": scan}
    browser_of("purchasing").post(f"/buying/orders/{order.pk}/receive/", body)
    moved = Movement.objects.select_related("container__lot").get()
    lot = moved.container.lot
    assert (lot.code, lot.expires_on.isoformat(), moved.quantity) == ("LOT-7A", "2028-03-31", 5)


@pytest.mark.parametrize(
    ("scan", "words"),
    [
        ("]d2010952012345678817280331", "The label is of"),
        ("]d20109520123456789", "check digit"),
        ("]d2" + "10A" * 200, "at most 400 are read"),
    ],
)
def test_a_label_of_another_material_or_a_bad_one_is_refused(browser_of, site, scan, words):
    make_pack(gtin="09520123456788")
    order = make_order(site)
    body = {"line": order.lines.get().pk, "lot_code": "L", "receipt_key": "k", "scan": scan}
    answer = browser_of("purchasing").post(
        f"/buying/orders/{order.pk}/receive/", body, follow=True
    )
    assert words in answer.content.decode()
    assert Movement.objects.count() == 0
