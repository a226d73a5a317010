import pytest

from shop.lots.models import Lot
from shop.purchasing import queries
from tests.factories.purchasing import make_order, make_pack
from tests.factories.shop import make_material, make_supplier

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


def test_goods_taken_in_without_their_order_are_pointed_out(dock, line):
    _, page = take(dock, line, line="")
    assert f"Taken in without an order, yet {line.order.number} expects Resin A." in page
    assert came(line) == 0


def test_an_order_of_another_site_is_not_offered(dock, other_site, pack):
    line = make_order(other_site, pack).lines.get()
    assert "No order is waiting for goods" in dock.get("/stock/goods-in/").content.decode()
    status, page = take(dock, line)
    assert (status, "choose one from the list" in page) == (422, True)
