import io
from decimal import Decimal

import pytest

from shop.purchasing import papers
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


def test_the_paper_names_both_parties_terms_and_the_life_asked_for(site):
    site.legal_name, site.tax_number = "Invented Castings Ltd", "TX 12 345"
    site.address, site.delivery_address = "1 Mould Lane\n1234 Town", "Yard 3, Back Street"
    site.contact = "Bruno, 0123 456"
    site.save()
    pack = make_pack(supplier=make_supplier(
        address="9 Resin Road", our_account="K-77", terms="30 days net, DAP",
        contact="Order desk", least_life_days=120,
    ))  # fmt: skip
    text = " ".join(text_of(papers.order_pdf(make_order(site, pack))).split())
    for words in (
        "Invented Castings Ltd", "TX 12 345", "1 Mould Lane 1234 Town", "Yard 3, Back Street",
        "Bruno, 0123 456", "9 Resin Road", "Our customer number: K-77", "Order desk",
        "Terms: 30 days net, DAP", "At least 120 days of shelf life",
    ):  # fmt: skip
        assert words in text, words


def test_goods_go_to_the_address_where_no_other_is_named(site):
    site.address = "1 Mould Lane"
    site.save()
    text = text_of(papers.order_pdf(make_order(site)))
    assert text.count("1 Mould Lane") == 2
    assert "shelf life must be left" not in text
    assert "Tax number" not in text
