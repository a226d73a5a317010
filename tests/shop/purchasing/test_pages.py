import pytest

from shared.api.roles import ROLES
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
    page = buyer.get(f"{at}/").content.decode()
    assert f'href="/stock/goods-in/?line={line.pk}#take-in"' in page
    taken = {
        "line": line.pk, "material": line.material_id, "lot_code": "L-1", "containers": "2",
        "expires_on": "2027-10-01", "quantity": "5", "key": "abc",
    }  # fmt: skip
    buyer.post("/stock/goods-in/take/", taken)
    buyer.post("/stock/goods-in/take/", taken)  # the button pressed twice
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


def test_a_proposal_of_a_number_beyond_all_numbers_is_nobodys(browser_of, site):
    sent = {"verdict": "approve", "proposal": "9" * 5000}
    page = browser_of("purchasing").post("/buying/decide/", sent, follow=True).content.decode()
    assert "choose at least one" in page


def test_who_writes_orders_does_not_say_yes_to_them(browser_of, site, monkeypatch):
    pack = make_pack()
    make_need(site, pack.material, 14, 8)
    monkeypatch.setitem(ROLES, "purchasing", ROLES["purchasing"] - {"approvals:write"})
    buyer = browser_of("purchasing")
    buyer.post("/buying/orders/write/", {"pack": pack.pk, "packs": "2"})
    order = PurchaseOrder.objects.get()
    assert ">Approve<" not in buyer.get(f"/buying/orders/{order.pk}/").content.decode()
    buyer.post("/buying/work-out/")
    for path, sent in (
        (f"/buying/orders/{order.pk}/approve/", {}),
        ("/buying/decide/", {"proposal": PurchaseProposal.objects.get().pk}),
    ):
        page = buyer.post(path, sent, follow=True).content.decode()
        assert "This needs approvals:write" in page, path
    order.refresh_from_db()
    assert order.status == OrderStatus.DRAFT
    assert PurchaseOrder.objects.count() == 1


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
