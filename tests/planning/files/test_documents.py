"""A document that is uploaded does what the same call does, with the uploader's rights."""

from datetime import date
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from planning.pours.models import ToolOrder
from shared import clock
from shared.access.models import User
from shared.ubl.document import Document, Kind, Line, Quantity
from shared.ubl.writing import write
from shop.models import Material, PurchaseOrder, PurchaseOrderLine, Supplier

pytestmark = pytest.mark.django_db


@pytest.fixture
def upload(client, shop_site, now, monkeypatch):
    monkeypatch.setattr(clock, "now", lambda: now)

    def send(who, document):
        client.force_login(User.objects.get(username=who))
        raw = document if isinstance(document, bytes) else write(document)
        return client.post("/documents/", {"file": SimpleUploadedFile("a.xml", raw)})

    return send


ORDER = Document(
    Kind.ORDER, "PO-1", date(2026, 11, 30), buyer="Invented buyer",
    lines=(
        Line("1", quantity=Quantity(Decimal(1), "H87"), wanted_on=date(2027, 1, 15), name="Cover",
             buyers_item="CUP-7",
             properties=(("route", "single"), ("A.system_code", "Q"), ("A.length_mm", "200"),
                         ("A.width_mm", "120"), ("A.depth_mm", "30"))),
    ),
)  # fmt: skip


def test_an_order_is_taken_in_at_the_uploader_s_site(upload, shop_site, client):
    answer = upload("petra", ORDER)
    order = ToolOrder.objects.get(customer_reference="PO-1/1")
    assert answer["Location"] == f"/orders/{order.pk}/"
    assert order.site == shop_site
    again = upload("petra", ORDER)
    assert again.status_code == 422
    assert "was taken in before" in again.content.decode()
    bad = upload("petra", write(ORDER).replace(b"H87", b"PCS").replace(b"PO-1<", b"PO-2<"))
    page = bad.content.decode()
    assert "/Order/cac:OrderLine[1]/cac:LineItem/cbc:Quantity/@unitCode" in page
    assert ToolOrder.objects.count() == 1
    assert client.get("/documents/").status_code == 200
    assert client.post("/documents/").status_code == 422


def test_a_supplier_s_answer_finds_its_order(upload, shop_site, now):
    supplier = Supplier.objects.first()
    order = PurchaseOrder.objects.create(
        site=shop_site, supplier=supplier, currency="EUR", created_at=now, status="ordered",
        ordered_at=now,
    )  # fmt: skip
    line = PurchaseOrderLine.objects.create(
        order=order, material=Material.objects.filter(unit="kg").first(), pack_name="can",
        content=5, packs=2, expected_on="2026-12-07",
    )  # fmt: skip
    document = Document(
        Kind.ORDER_RESPONSE, "AB-1", date(2026, 11, 30), order_id=order.number,
        lines=(Line(str(line.pk), promised_on=date(2026, 12, 20)),),
    )  # fmt: skip
    refused = upload("tess", document)
    assert refused.status_code == 422, "a technician buys nothing"
    assert upload("bruno", document)["Location"] == f"/buying/orders/{order.pk}/"
    line.refresh_from_db()
    assert (line.confirmed_on, line.confirmed_packs) == (date(2026, 12, 20), 2)
    lost = upload("bruno", write(document).replace(order.number.encode(), b"THEIRS-1"))
    assert "it must name our order, such as PO-17" in lost.content.decode()
    receipt = Document(Kind.RECEIPT_ADVICE, "1", date(2026, 11, 30), lines=(Line("1"),))
    assert "this takes UBL 2.1 Order or" in upload("bruno", receipt).content.decode()
