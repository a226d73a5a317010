import io
from decimal import Decimal

import pytest

from shop.purchasing import papers
from tests.factories.purchasing import make_order, make_pack

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
