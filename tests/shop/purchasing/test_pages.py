from dataclasses import replace
from decimal import Decimal

import pytest

from shared.api.roles import ROLES
from shop.ledger.models import Movement
from shop.proposals.models import PurchaseProposal
from shop.purchasing import actions
from shop.purchasing.models import OrderStatus, PurchaseOrder
from tests.factories.purchasing import make_need, make_order, make_pack, new_line
from tests.factories.shop import make_material, make_supplier

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


def test_an_unknown_button_or_anothers_order_leads_nowhere(browser_of, site, other_site):
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
    ("sent", "words"),
    [
        ({"pack": ""}, "pack is empty"),
        ({"pack": "0"}, "choose one from the list"),
        ({"packs": "0"}, "must be 1 to 10000"),
        ({"expected_on": "2026-02-30"}, "no such day"),
    ],
)
def test_an_order_by_hand_that_makes_no_sense_is_refused(browser_of, site, sent, words):
    body = {"pack": make_pack().pk, "packs": "1"} | sent
    answer = browser_of("purchasing").post("/buying/orders/write/", body, follow=True)
    assert words in answer.content.decode()
    assert PurchaseOrder.objects.count() == 0


def sent(client, order, button, **body):
    address = f"/buying/orders/{order.pk}/{button}/"
    page = client.post(address, body, follow=True).content.decode()
    order.refresh_from_db()
    return page


def test_lines_are_added_to_a_draft_and_taken_off_and_packs_together_reach_the_break(
    browser_of, site
):
    pack = make_pack()
    make_pack(pack.material, pack.supplier, price="50", from_packs=10)
    other = make_pack(supplier=pack.supplier, name="tin", price="9")
    buyer = browser_of("purchasing")
    body = {"packs": "6", "expected_on": "2026-12-09"}
    buyer.post("/buying/orders/write/", {"pack": pack.pk, **body})
    order = PurchaseOrder.objects.get()
    assert order.lines.get().pack_price == 60
    assert "6 × 5 kg can" in sent(buyer, order, "add", pack=pack.pk, **body)
    line = order.lines.get()
    assert (line.packs, line.pack_price) == (12, 50)
    sent(buyer, order, "add", pack=other.pk, **body)
    assert order.lines.count() == 2
    assert "is off PO-" in sent(buyer, order, "drop", line=line.pk)
    last = order.lines.get()
    assert last.pack_name == "tin"
    assert "cancel the order instead" in sent(buyer, order, "drop", line=last.pk)
    foreign = make_pack()
    assert "choose one from the list" in sent(buyer, order, "add", pack=foreign.pk, packs="1")
    version = order.version
    sent(buyer, order, "approve")
    for button, more in (("add", {"pack": other.pk, **body}), ("drop", {"line": last.pk})):
        assert "this needs draft" in sent(buyer, order, button, **more)
    assert order.lines.get().packs == 6
    assert order.version == version + 1


def test_a_price_agreed_by_hand_is_not_put_back_to_the_list(site):
    pack = make_pack()
    line = replace(new_line(pack, 2), pack_price=Decimal(55))
    order = actions.draft(site=site, supplier=pack.supplier, lines=[new_line(pack, 2), line])
    assert (order.lines.get().packs, order.lines.get().pack_price) == (4, 55)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"packs": "two"}, "packs of Resin B is &#x27;two&#x27;; type a whole number"),
        ({"packs": "10001"}, "it must be 0 to 10000"),
        ({"due": "2026-02-30"}, "due_on of Resin B is &#x27;2026-02-30&#x27;; no such day"),
        ({"reference": "x" * 81}, "reference has 81 characters; at most 80"),
    ],
)
def test_a_confirmation_that_makes_no_sense_is_refused_in_words(browser_of, site, more, words):
    order = make_order(site, make_pack(make_material(name="Resin B")))
    line = order.lines.get()
    names = {"packs": f"packs-{line.pk}", "due": f"due-{line.pk}"}
    body = {names.get(name, name): value for name, value in more.items()}
    assert words in sent(browser_of("purchasing"), order, "confirm", **body)
    assert order.status == OrderStatus.ORDERED
    sent(browser_of("purchasing"), order, "confirm", reference="A\0B")
    assert (order.status, order.supplier_reference) == (OrderStatus.CONFIRMED, "AB")
