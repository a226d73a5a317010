"""Purchase orders leave as UBL, and suppliers' documents do what the JSON calls do."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from shared.ubl.document import Document, Kind, Line, Money, Quantity
from shared.ubl.schemas import read_document
from shared.ubl.writing import write
from shop.purchasing import actions, documents
from shop.purchasing.errors import OrderState
from shop.purchasing.models import PurchaseOrder
from tests.factories.purchasing import make_order, make_pack
from tests.factories.shop import NOW

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]
ORDERS = "/api/v1/purchase-orders"
TODAY = NOW.date()


def kg(value):
    return Quantity(Decimal(str(value)), "KGM")


def answer(order, kind=Kind.ORDER_RESPONSE, line=None, **head):
    """Return a supplier's document about an order of one line."""
    (only,) = order.lines.all()
    values = {"id": str(only.pk)} if kind == Kind.ORDER_RESPONSE else {
        "id": "1", "order_line": str(only.pk),
    }  # fmt: skip
    return Document(
        **{"kind": kind, "id": "AB-1", "issued_on": TODAY, "order_id": order.number, **head},
        lines=(Line(**{**values, **(line or {})}),),
    )


def sent(client, order, what, document):
    raw = document if isinstance(document, bytes) else write(document)
    path = f"{ORDERS}/{order.pk}/{what}"
    return client.post(path, raw, content_type="application/xml")


def test_an_order_goes_out_with_its_prices_and_days(api, site):
    site.delivery_address = "Yard 2\nInvented town"
    site.save()
    pack = make_pack(supplier_item="S-9")
    order = make_order(site, pack)
    got = api("purchasing").get(f"{ORDERS}/{order.pk}/ubl-order")
    assert got["Content-Type"] == "application/xml; charset=utf-8"
    found = read_document(got.content)
    (line,) = found.lines
    assert (found.kind, found.id, found.currency) == (Kind.ORDER, order.number, "EUR")
    assert (found.deliver_to, found.total) == ("Yard 2\nInvented town", Money(Decimal(120), "EUR"))
    assert (line.quantity, line.packs, line.pack_size) == (
        kg(10), Quantity(Decimal(2), "H87"), Decimal(5),
    )  # fmt: skip
    assert (line.price, line.price_per, line.amount) == (
        Money(Decimal(60), "EUR"), kg(5), Money(Decimal(120), "EUR"),
    )  # fmt: skip
    assert line.wanted_on == TODAY + timedelta(days=7)
    assert (line.buyers_item, line.sellers_item) == (pack.material.code, "S-9")


def test_what_is_not_ordered_or_has_no_currency_is_no_order(api, site):
    draft = make_order(site, placed=False)
    refused = api("purchasing").get(f"{ORDERS}/{draft.pk}/ubl-order")
    assert (refused.status_code, refused.json()["code"]) == (409, "order_state")
    order = make_order(site)
    PurchaseOrder.objects.filter(pk=order.pk).update(currency="EUX")
    refused = api("purchasing").get(f"{ORDERS}/{order.pk}/ubl-order")
    assert refused.json()["errors"][0]["value"] == "EUX"
    assert api("technician").get(f"{ORDERS}/{order.pk}/ubl-order").status_code == 403


def test_a_response_confirms_days_and_packs_as_the_json_call_does(api, site):
    order = make_order(site)
    said = {"quantity": Quantity(Decimal(5000), "GRM"), "promised_on": date(2026, 12, 20)}
    got = sent(api("purchasing"), order, "confirmations", answer(order, line=said))
    assert got.status_code == 201, got.json()
    line = got.json()["lines"][0]
    assert (line["confirmed_packs"], line["due_on"]) == (1, "2026-12-20")
    assert got.json()["supplier_reference"] == "AB-1"
    assert got.json()["status"] == "confirmed"


@pytest.mark.parametrize(
    ("said", "packs"),
    [
        ({}, 2), ({"status": "7"}, 0), ({"quantity": Quantity(Decimal(1), "XBX")}, 1),
        ({"quantity": kg(10)}, 2), ({"quantity": Quantity(Decimal("0.005"), "TNE")}, 1),
    ],
)  # fmt: skip
def test_what_a_response_leaves_out_stays_as_ordered(api, site, said, packs):
    order = make_order(site)
    body = documents.confirmation_body(answer(order, line=said), order)
    assert body["lines"] == [
        {"line": str(order.lines.get().pk), "packs": packs,
         "due_on": (TODAY + timedelta(days=7)).isoformat()}
    ]  # fmt: skip


LINE = "/OrderResponse/cac:OrderLine[1]/cac:LineItem"


@pytest.mark.parametrize(
    ("head", "said", "path", "code", "value"),
    [
        ({"order_id": "PO-0"}, {}, "/OrderResponse/cac:OrderReference/cbc:ID", "other_order",
         "PO-0"),
        ({"response": "RE"}, {}, "/OrderResponse/cbc:OrderResponseCode", "rejected", "RE"),
        ({}, {"id": "99999"}, f"{LINE}/cbc:ID", "does_not_exist", "99999"),
        ({}, {"quantity": kg("7.5")}, f"{LINE}/cbc:Quantity", "no_whole_packs", "7.5 KGM"),
        ({}, {"quantity": kg(-5)}, f"{LINE}/cbc:Quantity", "no_whole_packs", "-5 KGM"),
        ({}, {"quantity": Quantity(Decimal(5), "LTR")}, f"{LINE}/cbc:Quantity/@unitCode",
         "wrong_unit", "LTR"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_named_by_its_path(api, site, head, said, path, code, value):
    order = make_order(site)
    got = sent(api("purchasing"), order, "confirmations", answer(order, line=said, **head))
    assert got.status_code == 422
    (problem,) = got.json()["errors"]
    assert (problem["pointer"], problem["code"], problem["value"]) == (path, code, value)
    assert order.lines.get().confirmed_packs is None


def test_an_advice_moves_the_arrival_and_only_the_last_ends_a_line(api, site):
    order = make_order(site, packs=3)
    buyer = api("purchasing")
    first = {"quantity": kg(5), "outstanding": kg(10)}
    head = {"arrives_on": date(2026, 12, 18), "shipment": "1", "tracking": "T-1"}
    got = sent(buyer, order, "announcements", answer(order, Kind.DESPATCH_ADVICE, first, **head))
    assert got.status_code == 201, got.json()
    line = got.json()["lines"][0]
    assert (line["due_on"], line["open"], line["confirmed_packs"]) == (
        "2026-12-18", "15.0000", None,
    )  # fmt: skip
    assert got.json()["supplier_reference"] == "T-1"
    last = {"quantity": kg(10), "outstanding": kg(0)}
    got = sent(buyer, order, "announcements", answer(order, Kind.DESPATCH_ADVICE, last, **head))
    assert got.json()["lines"][0]["open"] == "10.0000"
    got = sent(buyer, order, "announcements", answer(order, Kind.DESPATCH_ADVICE, last))
    assert got.json()["errors"][0]["pointer"].endswith("cac:EstimatedDeliveryPeriod/cbc:EndDate")
    body = {"lines": [{"line": line["id"], "due_on": "2026-12-21"}]}
    got = buyer.post(f"{ORDERS}/{order.pk}/announcements", body, format="json")
    assert got.json()["lines"][0]["due_on"] == "2026-12-21"


def test_what_came_in_is_advised_by_lot(api, site):
    order = make_order(site, packs=3)
    buyer = api("purchasing")
    assert buyer.get(f"{ORDERS}/{order.pk}/ubl-receipt-advice").json()["code"] == "order_state"
    line = order.lines.get()
    for lot, much in (("L1", "5"), ("L2", "2.5"), ("L1", "5")):
        goods = {"line": str(line.pk), "lot_code": lot, "expires_on": "2027-12-01",
                 "containers": [{"quantity": much}]}  # fmt: skip
        got = buyer.post(f"{ORDERS}/{order.pk}/receipts", {"goods": [goods]}, format="json")
        assert got.status_code == 201, got.json()
    found = read_document(buyer.get(f"{ORDERS}/{order.pk}/ubl-receipt-advice").content)
    assert (found.kind, found.order_id) == (Kind.RECEIPT_ADVICE, order.number)
    assert [(one.lot, one.quantity, one.order_line, one.expires_on) for one in found.lines] == [
        ("L1", kg(10), str(line.pk), date(2027, 12, 1)),
        ("L2", kg("2.5"), str(line.pk), date(2027, 12, 1)),
    ]  # fmt: skip


def test_a_repeated_document_is_answered_once_and_strangers_are_refused(api, site):
    order = make_order(site)
    buyer = api("purchasing")
    raw = write(answer(order))
    path = f"{ORDERS}/{order.pk}/confirmations"
    key = {"Idempotency-Key": "supplier-response-1-once"}
    kind = {"content_type": "application/xml", "headers": key}
    first = buyer.post(path, raw, **kind)
    again = buyer.post(path, raw, **kind)
    assert (first.status_code, again.json()) == (201, first.json())
    assert again["Idempotent-Replayed"] == "true"
    other = raw.replace(b"AB-1", b"AB-2")
    assert buyer.post(path, other, **kind).status_code == 422
    hostile = raw.replace(
        b"<OrderResponse", b'<!DOCTYPE O SYSTEM "file:///etc/passwd"><OrderResponse'
    )
    got = sent(buyer, order, "confirmations", hostile)
    assert (got.status_code, got.json()["errors"][0]["code"]) == (422, "document_type")
    got = sent(buyer, order, "confirmations", answer(order, Kind.DESPATCH_ADVICE))
    assert got.json()["errors"][0]["code"] == "not_the_document"
    assert sent(api("technician"), order, "confirmations", raw).status_code == 403


def test_an_announcement_names_lines_of_its_own_order(site):
    order, other = make_order(site), make_order(site)
    line = other.lines.get().pk
    with pytest.raises(Exception, match="is not a line of"):
        actions.announce(
            order=order, reference="", lines={line: actions.Announced(date(2026, 12, 1))}
        )
    draft = make_order(site, placed=False)
    with pytest.raises(OrderState):
        actions.announce(order=draft, reference="", lines={})
