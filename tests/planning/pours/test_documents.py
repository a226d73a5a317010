"""Tool orders come in as a UBL Order and are answered; delivery notes go out as advice."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from planning.deliveries import actions as deliveries
from planning.pours.models import Pour, ToolOrder
from shared import clock
from shared.ubl.document import Document, Kind, Line, Quantity
from shared.ubl.schemas import read_document
from shared.ubl.writing import write
from tests.callers import caller, make_site, make_user
from tests.factories.castings import take_off

pytestmark = pytest.mark.django_db
BULK = "/api/v1/tool-orders/bulk"
BOX = (
    ("route", "single"), ("A.system_code", "Q"), ("A.release_recipe_code", "WAX5"),
    ("A.length_mm", "200"), ("A.width_mm", "100"), ("A.depth_mm", "30"),
    ("A.tool_side", "board"),
)  # fmt: skip


@pytest.fixture
def calls(shop_site, now, monkeypatch):
    monkeypatch.setattr(clock, "now", lambda: now)
    return caller(make_user("integration", shop_site), [shop_site])


def line(n="1", tool="CUP-7", **more):
    values = {
        "quantity": Quantity(Decimal(1), "H87"), "wanted_on": date(2027, 1, 15),
        "name": "Cover, lower half", "buyers_item": tool, "properties": BOX, **more,
    }  # fmt: skip
    return Line(n, **values)


def an_order(*lines, **head):
    values = {"id": "PO-4711", "issued_on": date(2026, 11, 30), "buyer": "Invented buyer", **head}
    return Document(Kind.ORDER, **values, lines=lines or (line(),))


def sent(calls, document):
    raw = document if isinstance(document, bytes) else write(document)
    return calls.post(BULK, raw, content_type="application/xml")


def test_each_line_becomes_a_tool_order_as_the_json_call_makes_it(calls, shop_site):
    two = line("2", "CUP-8", quantity=Quantity(Decimal(2), "C62"), note="polished")
    got = sent(calls, an_order(line(), two, note="call before delivery"))
    assert got.status_code == 201, got.json()
    first, second = got.json()["items"]
    assert (first["tool_code"], first["customer"], first["customer_reference"]) == (
        "CUP-7", "Invented buyer", "PO-4711/1",
    )  # fmt: skip
    assert (first["due_on"], first["remarks"]) == ("2027-01-15", "call before delivery")
    assert second["remarks"] == "call before delivery\npolished"
    pour = Pour.objects.get(order=first["id"])
    assert (pour.length_mm, pour.system.code) == (Decimal(200), "Q")
    assert ToolOrder.objects.filter(customer_reference="PO-4711/2").count() == 2
    twin = {
        "tool_code": "CUP-9", "route": "single", "due_on": "2027-01-15",
        "pours": [{"half": "A", "system": str(pour.system_id), "length_mm": "200",
                   "release_recipe": str(pour.release_recipe_id), "width_mm": "100",
                   "depth_mm": "30", "tool_side": "board"}],
    }  # fmt: skip
    same = calls.post("/api/v1/tool-orders", twin, format="json").json()
    assert same["pours"][0]["mass_kg"] == first["pours"][0]["mass_kg"]


def test_a_document_that_was_taken_in_is_not_taken_in_again(calls):
    assert sent(calls, an_order()).status_code == 201
    again = sent(calls, an_order())
    assert (again.status_code, again.json()["code"]) == (409, "order_known")
    assert sent(calls, an_order(buyer="Somebody else")).status_code == 201
    other = make_site("other")
    ToolOrder.objects.filter(customer="Somebody else").update(site=other)
    again = sent(calls, an_order(buyer="Somebody else"))
    assert again.status_code == 201, "what another site took in is not known here"
    made = ToolOrder.objects.get(customer="Invented buyer")
    calls.post(f"/api/v1/tool-orders/{made.pk}/cancellations", {}, format="json")
    assert sent(calls, an_order()).status_code == 201


def changed(name, value):
    return tuple((n, value if n == name else v) for n, v in BOX)


LINE = "/Order/cac:OrderLine[1]/cac:LineItem"
PROPERTY = f"{LINE}/cac:Item/cac:AdditionalItemProperty"


@pytest.mark.parametrize(
    ("more", "path", "value"),
    [
        ({"quantity": Quantity(Decimal("1.5"), "H87")}, f"{LINE}/cbc:Quantity", "1.5 H87"),
        ({"quantity": Quantity(Decimal(2), "KGM")}, f"{LINE}/cbc:Quantity", "2 KGM"),
        ({"quantity": Quantity(Decimal(51), "H87")}, f"{LINE}/cbc:Quantity", "51 H87"),
        ({"properties": (*BOX, ("colour", "red"))}, f"{PROPERTY}[8]/cbc:Name", "colour"),
        ({"properties": changed("A.system_code", "NONE")}, f"{PROPERTY}[2]/cbc:Value", "NONE"),
        ({"properties": changed("route", "none")}, f"{PROPERTY}[1]/cbc:Value", "none"),
        ({"properties": changed("A.depth_mm", "deep")}, f"{PROPERTY}[6]/cbc:Value", "deep"),
        ({"properties": changed("A.depth_mm", "-3")}, f"{PROPERTY}[6]/cbc:Value", "-3"),
        ({"properties": changed("A.length_mm", "9999")}, f"{PROPERTY}[4]/cbc:Value", "9999.0"),
        ({"wanted_on": date(1999, 1, 1)},
         f"{LINE}/cac:Delivery/cac:RequestedDeliveryPeriod/cbc:EndDate", "1999-01-01"),
        ({"wanted_on": None}, f"{LINE}/cac:Delivery/cac:RequestedDeliveryPeriod/cbc:EndDate",
         None),
        ({"buyers_item": "no code!"},
         f"{LINE}/cac:Item/cac:BuyersItemIdentification/cbc:ID", "no code!"),
    ],
)  # fmt: skip
def test_what_is_refused_is_named_by_its_element(calls, more, path, value):
    got = sent(calls, an_order(line(**more)))
    assert got.status_code == 422, got.json()
    found = [(one["pointer"], one.get("value")) for one in got.json()["errors"]]
    assert [one for one in found if one[0] == path and value in (one[1], None)], got.json()
    assert not ToolOrder.objects.exists()


def test_one_bad_line_takes_nothing_in(calls):
    got = sent(calls, an_order(line(), line("2", "CUP-8", wanted_on=date(1999, 1, 1))))
    assert got.json()["errors"][0]["pointer"].startswith("/Order/cac:OrderLine[2]/")
    assert not ToolOrder.objects.exists()


def test_the_answer_says_how_the_order_stands(calls, planned):
    soon = an_order(line(wanted_on=date(2026, 12, 4)))
    made = sent(calls, soon).json()["items"][0]
    path = f"/api/v1/tool-orders/{made['id']}"

    def answer():
        return read_document(calls.get(f"{path}/ubl-order-response").content)

    first = answer()
    assert (first.order_id, first.response, first.lines[0].promised_on) == ("PO-4711", "AP", None)
    planned(Pour.objects.get(order=made["id"]))
    dated = answer()
    assert dated.lines[0].promised_on > date(2026, 11, 29)
    assert (dated.id != first.id, dated.lines[0].id) == (True, "1")
    calls.post(f"{path}/cancellations", {"reason": "gone"}, format="json")
    gone = answer()
    assert (gone.response, gone.lines[0].status, gone.lines[0].quantity.value) == (
        "RE", "Cancelled", 0,
    )  # fmt: skip


def test_a_delivery_note_advises_its_castings(calls, shop_site, now):
    made = sent(calls, an_order()).json()["items"][0]
    pour = Pour.objects.get(order=made["id"])
    take_off(pour, now)
    note = deliveries.send(
        site=shop_site, pours=[pour], key="one", now=now + timedelta(hours=1),
        address="Dock 3\nInvented town", carrier="Own van", carrier_reference="V-7", packages=2,
    )  # fmt: skip
    path = f"/api/v1/delivery-notes/{note.pk}/ubl-despatch-advice"
    found = read_document(calls.get(path).content)
    (only,) = found.lines
    assert (found.id, found.order_id, found.buyer) == (note.number, "PO-4711", "Invented buyer")
    assert (found.deliver_to, found.carrier, found.tracking, found.packages.value) == (
        "Dock 3\nInvented town", "Own van", "V-7", 2,
    )  # fmt: skip
    assert (only.order_line, only.buyers_item, only.quantity) == (
        "1", "CUP-7", Quantity(Decimal(1), "H87"),
    )  # fmt: skip
    back = deliveries.take_back(note=note, reason="wrong", key="b", now=now + timedelta(hours=2))
    got = calls.get(f"/api/v1/delivery-notes/{back.pk}/ubl-despatch-advice")
    assert (got.status_code, got.json()["code"]) == (409, "no_despatch")
