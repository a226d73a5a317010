import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from shop.lots.models import Lot
from shop.materials.models import LearnedCode
from shop.purchasing import queries
from tests.factories.purchasing import make_order, make_pack
from tests.factories.shop import NOW, make_material, make_supplier
from tests.shop.lots.pdfs import packed_pdf, plain_pdf

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]

GTIN = "04006381333931"
"""Check digit as the GS1 General Specifications compute it; the number itself is invented."""


@pytest.fixture
def pack():
    supplier = make_supplier(name="Resin House")
    return make_pack(make_material(name="Resin A"), supplier, gtin=GTIN)


@pytest.fixture
def line(site, pack):
    return make_order(site, pack, packs=4).lines.get()


@pytest.fixture
def dock(browser_of):
    return browser_of("technician")


def take(dock, ordered, **more):
    values = {
        "line": ordered.pk, "material": ordered.material_id,
        "supplier": ordered.order.supplier_id,
        "lot_code": "L-1", "expires_on": "2027-06-30", "containers": "2", "quantity": "5",
        "key": "k1",
    }  # fmt: skip
    answer = dock.post("/stock/goods-in/take/", values | more, follow=True)
    return answer.status_code, answer.content.decode()


def came(line):
    return queries.received([line])[line.pk]


def test_the_page_lists_what_is_expected_and_fills_the_form_from_the_line(dock, line):
    page = dock.get("/stock/goods-in/").content.decode()
    assert f"{line.order.number}, Resin House" in page
    assert "20.000 kg" in page.replace("\N{NO-BREAK SPACE}", " ")
    page = dock.get(f"/stock/goods-in/?line={line.pk}").content.decode()
    assert f'<option value="{line.pk}" selected>' in page
    assert 'name="containers" inputmode="numeric" value="4"' in page
    assert 'name="quantity" inputmode="decimal" value="5"' in page


def test_nobody_is_led_where_they_may_not_go(browser_of, dock, line):
    assert 'href="/buying/' not in dock.get("/stock/goods-in/").content.decode()
    assert 'href="/buying/"' not in dock.get("/buying/suppliers/").content.decode()
    buyer = browser_of("purchasing")
    page = buyer.get("/stock/goods-in/").content.decode()
    assert f'href="/buying/orders/{line.order_id}/"' in page
    assert 'href="/buying/orders/"' in page
    assert 'href="/buying/"' in buyer.get("/buying/suppliers/").content.decode()


def test_a_scan_finds_the_order_that_is_due_first(dock, site, pack, line):
    later = make_order(site, pack, packs=1, days=20).lines.get()
    sooner = make_order(site, pack, packs=3, days=2).lines.get()
    page = dock.get(f"/stock/goods-in/?scan=01{GTIN}1727063010LOT-9").content.decode()
    assert f"It is on order: {sooner.order.number}" in page
    assert f"Also open: {line.order.number} due" in page
    assert f"{later.order.number} due" in page
    assert f'<option value="{sooner.pk}" selected>' in page
    assert 'value="LOT-9"' in page


def test_a_part_of_an_order_is_received_and_what_is_missing_is_said(dock, line):
    _, page = take(dock, line)
    assert f"{line.order.number}: 10 of 20 kg have come in, 10 kg still to come." in page
    line.order.refresh_from_db()
    assert (came(line), line.order.status) == (10, "ordered")
    take(dock, line)
    assert came(line) == 10
    _, page = take(dock, line, key="k2")
    assert "20 of 20 kg have come in, as ordered." in page
    line.order.refresh_from_db()
    assert line.order.status == "received"
    assert Lot.objects.get().unit_cost == 12


def test_an_over_delivery_is_refused_until_somebody_keeps_it(dock, line):
    status, page = take(dock, line, containers="5")
    assert status == 422
    assert "25 kg would have come in of 20 kg ordered" in page
    assert 'name="accept_over"' in page
    assert not Lot.objects.exists()
    _, page = take(dock, line, containers="5", accept_over="1")
    assert "5 kg too much, kept." in page
    assert came(line) == 25


@pytest.mark.parametrize("name", ["material", "supplier"])
def test_goods_that_are_not_the_lines_are_refused(dock, line, name):
    other = make_material(name="Wax") if name == "material" else make_supplier(name="Wax Works")
    status, page = take(dock, line, **{name: other.pk})
    assert status == 422
    assert ("line asks for Resin A" if name == "material" else "is from Resin House") in page
    assert not Lot.objects.exists()


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({"containers": "two"}, "containers is &#x27;two&#x27;; type a whole number"),
        ({"containers": "0"}, "containers is 0; it must be 1 to 500"),
        ({"quantity": "5,5"}, "type a number such as 12.5 in kg, with a point"),
        ({"quantity": "0"}, "must be a number above 0"),
        ({"expires_on": "2027-02-30"}, "no such day"),
        ({"lot_code": " "}, "material and lot_code must be given"),
        ({"quantity": "99"}, "Send the rest back"),
        ({"expires_on": "2026-01-01"}, "usable until 2026-01-01"),
    ],
)
def test_bad_receipts_are_refused_in_words_keep_what_was_typed_and_change_nothing(
    dock, line, sent, words
):
    status, page = take(dock, line, **({"certificate": "C-5"} | sent))
    assert status == 422
    assert words in page.split('id="take-in"')[1]  # beside what was typed
    assert 'value="C-5"' in page
    assert f'<option value="{line.pk}" selected>' in page
    assert not Lot.objects.exists()


def test_a_label_scanned_for_a_chosen_order_keeps_the_order(dock, site, pack, line):
    later = make_order(site, pack, packs=1, days=20).lines.get()
    page = dock.get(f"/stock/goods-in/?line={later.pk}").content.decode()
    assert f'<input type="hidden" name="line" value="{later.pk}">' in page
    page = dock.get(f"/stock/goods-in/?line={later.pk}&scan=01{GTIN}10LOT-9").content.decode()
    assert f'<option value="{later.pk}" selected>' in page
    assert 'value="LOT-9"' in page


@pytest.mark.parametrize("same_supplier", [True, False])
def test_a_label_of_other_goods_than_the_chosen_orders_is_told(dock, line, same_supplier):
    supplier = line.order.supplier if same_supplier else make_supplier()
    other = make_pack(make_material(name="Wax"), supplier, gtin="09520123456788")
    page = dock.get(f"/stock/goods-in/?line={line.pk}&scan=0109520123456788").content.decode()
    assert f"The label is of Wax; {line.order} asks for Resin A." in page
    assert f'<option value="{other.material_id}" selected>' in page
    assert f'<option value="{supplier.pk}" selected>' in page
    assert f"selected>{line.order.number}" not in page


def test_a_code_learned_of_the_orders_supplier_is_read_as_its_own(dock, line):
    for supplier, material in (
        (line.order.supplier, line.material), (make_supplier(), make_material(name="Wax")),
    ):  # fmt: skip
        LearnedCode.objects.create(
            supplier=supplier, material=material, text="PAIL-1", content=5, learned_at=NOW
        )
    page = dock.get(f"/stock/goods-in/?line={line.pk}&scan=PAIL-1").content.decode()
    assert "The label was read." in page
    assert f'<option value="{line.pk}" selected>' in page


def test_a_certificate_comes_in_with_its_goods_or_neither_does(dock, line, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    bad = SimpleUploadedFile("c.pdf", packed_pdf())
    status, page = take(dock, line, certificate_file=bad)
    assert (status, "active content" in page) == (422, True)
    assert not Lot.objects.exists()
    good = SimpleUploadedFile("c.pdf", plain_pdf())
    take(dock, line, certificate_file=good, certificate="C-5")
    lot = Lot.objects.get()
    assert lot.certificate == "C-5"
    with lot.certificate_file.open("rb") as kept:
        assert kept.read() == plain_pdf()


def test_goods_taken_in_without_their_order_are_pointed_out(dock, line):
    _, page = take(dock, line, line="")
    assert f"Taken in without an order, yet {line.order.number} expects Resin A." in page
    assert came(line) == 0


def test_an_order_of_another_site_is_not_offered(dock, other_site, pack):
    line = make_order(other_site, pack).lines.get()
    assert "No order is waiting for goods" in dock.get("/stock/goods-in/").content.decode()
    status, page = take(dock, line)
    assert (status, "choose one from the list" in page) == (422, True)
