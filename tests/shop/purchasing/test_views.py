"""The ordering system's road: proposals in, an order out, confirmed, received, closed."""

import pytest

from shop.ledger.models import Movement
from shop.purchasing.models import PurchaseOrder
from tests.factories.purchasing import make_need, make_order, make_pack

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]

ORDERS = "/api/v1/purchase-orders"
PROPOSALS = "/api/v1/purchase-proposals"


def goods(line, quantity="5.0000", lot="L1"):
    return {
        "line": line,
        "lot_code": lot,
        "expires_on": "2027-12-01",
        "containers": [{"quantity": quantity}],
    }


def test_from_a_shortage_to_the_last_receipt(api, site):
    pack = make_pack()
    make_need(site, pack.material, 14, 8, "P1")
    buyer = api("purchasing")
    run = buyer.post(PROPOSALS, {}, format="json")
    assert run.status_code == 201, run.content
    (proposal,) = run.json()["items"]
    assert proposal["packs"] == [{"name": "5 kg can", "packs": 2}]
    assert proposal["covers"] == [{"for": "P1", "quantity": "8.0000"}]
    assert proposal["goods_cost"] == "120.00"

    approved = buyer.post(f"{PROPOSALS}/{proposal['id']}/approvals", {}, format="json")
    assert approved.status_code == 201, approved.content
    order = approved.json()
    assert (order["status"], order["goods_cost"]) == ("approved", "120.00")
    (line,) = order["lines"]
    assert (line["open"], line["received"], line["unit"]) == ("10.0000", "0.0000", "kg")

    at = f"{ORDERS}/{order['id']}"
    assert buyer.post(f"{at}/placements", {}, format="json").json()["status"] == "ordered"
    answer = {
        "reference": "AB-1",
        "lines": [{"line": line["id"], "packs": 2, "due_on": "2026-12-05"}],
    }
    confirmed = buyer.post(f"{at}/confirmations", answer, format="json").json()
    assert confirmed["lines"][0]["due_on"] == "2026-12-05"

    part = buyer.post(f"{at}/receipts", {"goods": [goods(line["id"])]}, format="json")
    assert part.json()["lines"][0]["open"] == "5.0000", part.content
    rest = buyer.post(f"{at}/receipts", {"goods": [goods(line["id"])]}, format="json")
    assert rest.json()["status"] == "received"
    assert buyer.post(f"{at}/closings", {}, format="json").json()["status"] == "closed"
    assert Movement.objects.count() == 2
    listed = buyer.get(f"{ORDERS}?status=closed").json()
    assert [row["number"] for row in listed["items"]] == [order["number"]]


def test_a_receipt_sent_again_with_its_key_comes_in_once(api, site):
    order = make_order(site)
    body = {"goods": [goods(str(order.lines.get().pk))]}
    buyer, head = api("purchasing"), {"Idempotency-Key": "receipt-of-monday-1"}
    for _ in range(3):
        answer = buyer.post(f"{ORDERS}/{order.pk}/receipts", body, format="json", headers=head)
        assert answer.status_code == 201
    assert Movement.objects.count() == 1


def test_too_much_is_answered_with_the_figures_and_nothing_moves(api, site):
    order = make_order(site, packs=1)
    body = {"goods": [goods(str(order.lines.get().pk), "7.5000")]}
    answer = api("purchasing").post(f"{ORDERS}/{order.pk}/receipts", body, format="json")
    assert (answer.status_code, answer.json()["code"]) == (409, "over_delivery")
    assert (answer.json()["value"], answer.json()["limit"]) == ("7.5", "5")
    assert Movement.objects.count() == 0


def test_an_order_written_by_hand_begins_as_a_draft(api, site):
    pack = make_pack()
    body = {
        "supplier": str(pack.supplier_id),
        "lines": [
            {
                "material": str(pack.material_id),
                "pack_name": "5 kg can",
                "content": "5.0000",
                "packs": 3,
                "expected_on": "2026-12-10",
                "pack_price": "60.00",
            }
        ],
    }
    answer = api("purchasing").post(ORDERS, body, format="json")
    assert (answer.status_code, answer.json()["status"]) == (201, "draft"), answer.content
    assert answer.json()["goods_cost"] == "180.00"


@pytest.mark.parametrize(
    ("role", "money"), [("purchasing", True), ("planner", True), ("quality", False)]
)
def test_prices_are_only_for_those_who_may_see_them(api, site, role, money):
    pack = make_pack()
    make_need(site, pack.material, 14, 8)
    api("purchasing").post(PROPOSALS, {}, format="json")
    order = make_order(site)
    (proposal,) = api(role).get(PROPOSALS).json()["items"]
    shown = api(role).get(f"{ORDERS}/{order.pk}").json()
    assert ("goods_cost" in proposal) is money
    assert ("goods_cost" in shown) is money
    assert ("pack_price" in shown["lines"][0]) is money
    assert money or "60.0" not in str(shown) + str(proposal)


def test_a_technician_sees_the_outlook_but_no_orders(api, site):
    make_order(site)
    technician = api("technician")
    assert technician.get("/api/v1/outlook").status_code == 200
    assert technician.get(ORDERS).status_code == 403
    assert technician.get(PROPOSALS).status_code == 403
    assert api(None).get(ORDERS).status_code == 401


def test_a_planner_reads_orders_and_changes_none(api, site):
    order = make_order(site)
    planner = api("planner")
    assert planner.get(f"{ORDERS}/{order.pk}").status_code == 200
    assert planner.post(f"{ORDERS}/{order.pk}/closings", {}, format="json").status_code == 403


def test_another_sites_order_does_not_exist(api, site, other_site):
    order = make_order(other_site)
    assert api("purchasing").get(f"{ORDERS}/{order.pk}").status_code == 404


def test_bad_fields_are_named_all_at_once(api, site):
    order = make_order(site)
    body = {"goods": [{"line": "999", "lot_code": "", "containers": [{"quantity": "-1"}]}]}
    answer = api("purchasing").post(f"{ORDERS}/{order.pk}/receipts", body, format="json")
    assert answer.status_code == 422
    pointers = {e["pointer"] for e in answer.json()["errors"]}
    assert pointers == {"#/goods/0/lot_code", "#/goods/0/containers/0/quantity"}


def test_lists_take_a_constant_number_of_queries(api, site, django_assert_max_num_queries):
    buyer = api("purchasing")
    for _ in range(3):
        make_order(site)
    with django_assert_max_num_queries(10):
        assert len(buyer.get(ORDERS).json()["items"]) == 3
    for _ in range(9):
        make_order(site)
    with django_assert_max_num_queries(10):
        assert len(buyer.get(ORDERS).json()["items"]) == 12


def test_an_order_mailed_through_the_api_leaves_after_it_is_stored(
    api, site, mailoutbox, django_capture_on_commit_callbacks
):
    from tests.factories.shop import make_supplier

    pack = make_pack(supplier=make_supplier(order_email="orders@supplier.example"))
    order = make_order(site, pack, placed=False)
    with django_capture_on_commit_callbacks(execute=True):
        answer = api("purchasing").post(
            f"{ORDERS}/{order.pk}/placements", {"mail": True}, format="json"
        )
    assert answer.status_code == 201, answer.content
    (mail,) = mailoutbox
    assert mail.to == ["orders@supplier.example"]
    assert mail.attachments[0][0] == f"{order.number}.pdf"
    assert PurchaseOrder.objects.get(pk=order.pk).mailed_at is not None


def test_goods_do_not_come_before_they_were_ordered(api, site):
    pack = make_pack()
    order = make_order(site, pack)
    (line,) = order.lines.all()
    body = {"goods": [goods(str(line.pk))], "received_at": "2026-11-20T08:00:00Z"}
    answer = api("purchasing").post(f"{ORDERS}/{order.pk}/receipts", body, format="json")
    assert answer.status_code == 422, answer.content
    assert "was ordered" in answer.json()["detail"]
    assert not Movement.objects.exists()
