from decimal import Decimal

import pytest

from shop.materials.models import Pack
from shop.materials.suppliers import Supplier
from tests.factories.purchasing import make_order, make_pack
from tests.factories.shop import make_material, make_supplier

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]

TERMS = {
    "order_email": "orders@house.example", "lead_time_days": "9", "lead_time_sd_days": "1.5",
    "order_cost": "12.50", "least_order": "150",
}  # fmt: skip


@pytest.fixture
def supplier():
    return make_supplier(name="Resin House")


@pytest.fixture
def buyer(browser_of):
    return browser_of("purchasing")


def pack_of(material, **more):
    return {
        "material": material.pk, "name": "25 kg pail", "content": "25", "price": "210.5",
        "from_packs": "1", "least_packs": "1",
    } | more  # fmt: skip


def sent(client, path, body):
    return client.post(f"/buying/{path}/", body, follow=True).content.decode()


def test_a_buyer_enters_a_supplier_its_terms_and_packs(buyer, site):
    made = sent(buyer, "suppliers/add", {"code": "SUP", "name": "House", "lead_time_days": "5"})
    assert "House is entered." in made
    supplier = Supplier.objects.get()
    assert "The terms of House are changed." in sent(
        buyer, f"suppliers/{supplier.pk}/terms", TERMS
    )
    supplier.refresh_from_db()
    assert (supplier.lead_time_days, supplier.least_order) == (9, 150)
    assert (supplier.lead_time_sd_days, supplier.version) == (Decimal("1.5"), 2)
    resin = make_material(name="Blue resin")
    body = pack_of(resin, gtin="04006381333931", supplier_item="B-25", lead_time_days="3")
    sent(buyer, f"suppliers/{supplier.pk}/packs", body)
    page = sent(
        buyer, f"suppliers/{supplier.pk}/packs", pack_of(resin, from_packs="8", price="189")
    )
    page = page.replace("\N{NO-BREAK SPACE}", " ")
    for words in ("210.50 EUR", "189.00 EUR", "25.000 kg", "04006381333931", "B-25", "3 days"):
        assert words in page, words
    assert [p.from_packs for p in Pack.objects.order_by("from_packs")] == [1, 8]


def test_a_pack_is_taken_off_and_the_order_keeps_what_it_says(buyer, site):
    pack = make_pack()
    order = make_order(site, pack)
    assert "is off the list" in sent(buyer, f"packs/{pack.pk}/remove", {})
    assert not Pack.objects.exists()
    assert order.lines.get().pack_name == pack.name


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"material": ""}, "material is missing"),
        ({"content": "0"}, "content must be above 0"),
        ({"content": "25 kg"}, "content is &#x27;25 kg&#x27;; type a number such as 12.5 in kg"),
        ({"price": "9999999999"}, "price: Ensure that there are no more than"),
        ({"from_packs": "0"}, "from_packs is 0; it must be 1 to 100000"),
        ({"lead_time_days": "soon"}, "lead_time_days is &#x27;soon&#x27;"),
        ({"gtin": "04006381333932"}, "the last of which is their check digit"),
        ({"gtin": "12345"}, "type the 8, 12, 13 or 14 digits"),
        ({"name": ""}, "name: This field cannot be blank"),
        ({"name": "5 kg can"}, "already exists"),
    ],
)
def test_a_pack_that_makes_no_sense_is_refused_in_words(buyer, site, supplier, more, words):
    there = make_pack(supplier=supplier)
    page = sent(buyer, f"suppliers/{supplier.pk}/packs", pack_of(there.material) | more)
    assert words in page
    assert "Nothing was changed." in page
    assert Pack.objects.count() == 1


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"order_email": "nobody"}, "order_email: Enter a valid email address."),
        ({"lead_time_days": "-1"}, "lead_time_days is &#x27;-1&#x27;"),
        ({"least_order": "1,5"}, "least_order is &#x27;1,5&#x27;; type a number"),
    ],
)
def test_terms_that_make_no_sense_are_refused_in_words(buyer, site, supplier, more, words):
    assert words in sent(buyer, f"suppliers/{supplier.pk}/terms", TERMS | more)
    supplier.refresh_from_db()
    assert supplier.version == 1


def test_prices_and_changes_are_for_those_who_may(browser_of, site, supplier):
    pack = make_pack(supplier=supplier, price="77.70")
    page = browser_of("technician").get("/buying/suppliers/").content.decode()
    assert "5 kg can" in page
    assert "77.70" not in page
    assert "Add a pack" not in page
    planner = browser_of("planner")
    page = planner.get("/buying/suppliers/").content.decode()
    assert "77.70" in page
    assert "Add a pack" not in page
    for path in (
        f"packs/{pack.pk}/remove", f"suppliers/{supplier.pk}/packs",
        f"suppliers/{supplier.pk}/terms", "suppliers/add",
    ):  # fmt: skip
        for client in (planner, browser_of("technician")):
            assert client.post(f"/buying/{path}/", {}).status_code == 403, path
    assert Pack.objects.exists()


def test_the_page_asks_as_often_for_many_suppliers_as_for_few(buyer, site, supplier, queries):
    make_pack(supplier=supplier)
    buyer.get("/buying/suppliers/")
    few = queries(lambda: buyer.get("/buying/suppliers/"))
    for _ in range(6):
        make_pack()
    assert queries(lambda: buyer.get("/buying/suppliers/")) == few
