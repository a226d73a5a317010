import io
from decimal import Decimal

import pytest

from shared.errors import Invalid
from shop.purchasing import papers
from shop.purchasing.errors import OrderState
from tests.factories.purchasing import make_order, make_pack
from tests.factories.shop import make_supplier

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]


def text_of(data):
    from pypdf import PdfReader

    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages)


def test_the_paper_says_what_is_ordered_and_adds_up(site):
    pack = make_pack(supplier_item="RX-5", price=Decimal("61.35"))
    order = make_order(site, pack, packs=3)
    text = text_of(papers.order_pdf(order))
    for words in (order.number, order.supplier.name, "RX-5", "3 × 5 kg can", "15 kg", "184.05"):
        assert words in text
    assert "NOT AN ORDER YET" not in text


def test_a_paper_that_is_no_order_yet_says_so(site):
    assert "NOT AN ORDER YET" in text_of(papers.order_pdf(make_order(site, placed=False)))


def test_only_what_is_ordered_and_has_an_address_is_mailed(site, mailoutbox):
    with pytest.raises(OrderState, match="order it first"):
        papers.mail_order(make_order(site, placed=False))
    with pytest.raises(Invalid, match="has no order_email"):
        papers.mail_order(make_order(site))
    assert mailoutbox == []


def test_a_copy_bears_the_same_id_and_a_failure_is_written_down(site, mailoutbox, monkeypatch):
    pack = make_pack(supplier=make_supplier(order_email="orders@supplier.example"))
    order = make_order(site, pack)
    papers.mail_order(order)
    papers.mail_order(order)
    assert len({mail.extra_headers["Message-ID"] for mail in mailoutbox}) == 1

    def refuse(self):
        raise ConnectionRefusedError("nobody answers")

    monkeypatch.setattr("django.core.mail.EmailMessage.send", refuse)
    other = papers.mail_order(make_order(site, pack))
    assert (other.mailed_at, other.mail_error) == (None, "Not sent: nobody answers")
