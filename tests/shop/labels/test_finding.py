"""One search by code: own codes, short codes, labels of any host, supplier's labels, refusals."""

from datetime import date

import pytest

from shared.codes.finding import code_of, find, path_to
from shared.errors import Invalid
from shop import stores
from shop.lots.models import Container, Lot
from shop.materials.models import Pack
from shop.tools.actions import make_tool
from tests.factories.shop import make_container, make_lot, make_material, make_supplier

pytestmark = pytest.mark.django_db


@pytest.fixture
def can(site):
    supplier, stuff = make_supplier(), make_material()
    Pack.objects.create(
        material=stuff, supplier=supplier, name="pail", content=25, price=1, gtin="09506000134352"
    )
    lot = make_lot(site, stuff, supplier=supplier, code="LOT-7A", expires_on=date(2027, 6, 30))
    return make_container(lot, holds=3)


def code_refused(site, text, **more):
    with pytest.raises(Invalid) as refused:
        find(site, text, **more)
    return refused.value.problems[0].code


def test_a_can_is_found_by_all_that_can_be_scanned_or_typed(site, can):
    short = code_of("can", can.pk)
    gs1 = "]d201095060001343521727063010LOT-7A"
    for text in (
        can.code,
        can.code.lower(),
        short,
        short.replace("-", "").lower(),
        f"http://localhost:8000{path_to('can', can.pk)}",
        f"https://other.example/shop{path_to('can', can.pk)}/",
        f"http://10.1.2.3:8000/stock/containers/{can.pk}/",
        gs1,
        "https://id.example/01/09506000134352/10/LOT-7A?17=270630",
    ):
        assert find(site, text, wanted=("can",)).pk == can.pk, text
        assert stores.container_by_code(site.pk, text).id == can.pk, text
    assert find(site, gs1).kind == "lot"
    assert find(site, gs1, wanted=("lot", "can")).pk == can.lot_id


def test_a_label_of_a_lot_in_several_cans_asks_for_the_can(site, can):
    make_container(Lot.objects.get(pk=can.lot_id), holds=2)
    assert code_refused(site, "]d201095060001343521727063010LOT-7A", wanted=("can",)) == "several"


def test_what_is_refused_says_why(site, can):
    short = code_of("can", can.pk)
    wrong = short[:-1] + str((int(short[-1]) + 1) % 10)
    assert code_refused(site, "") == "required"
    assert code_refused(site, "x" * 401) == "too_long"
    assert code_refused(site, wrong) == "wrong_check"
    assert code_refused(site, "nothing of that name") == "does_not_exist"
    assert code_refused(site, code_of("can", 999_999)) == "does_not_exist"
    assert code_refused(site, short, wanted=("tool",)) == "other_kind"


def test_a_code_of_another_site_is_not_known(site, other_site, can):
    assert code_refused(other_site, code_of("can", can.pk)) == "does_not_exist"


def test_an_own_code_that_is_another_thing_s_short_code_is_not_guessed(site, can):
    make_tool(site_id=site.pk, code=code_of("can", can.pk), name="Grip", kind="single")
    assert code_refused(site, code_of("can", can.pk)) == "several"
    assert find(site, code_of("can", can.pk), wanted=("can",)).pk == can.pk


def test_pages_lead_from_a_label_to_its_thing(browser_of, site, can):
    client = browser_of("technician")
    there = f"/stock/lots/{can.lot_id}/?container={can.pk}"
    assert client.get(path_to("can", can.pk))["Location"] == there
    assert client.get("/scan/", {"code": can.code})["Location"] == there
    assert client.get("/scan/").status_code == 200
    unknown = client.get("/scan/", {"code": "<b>no</b>"})
    assert unknown.status_code == 404
    assert b"<b>no</b>" not in unknown.content
    told = client.get("/scan/named.json", {"code": code_of("can", can.pk), "for": "can"}).json()
    assert (told["kind"], told["id"], told["code"]) == ("can", can.pk, can.code)
    assert "message" in client.get("/scan/named.json", {"code": "", "for": "can"}).json()


def test_the_shops_own_label_at_goods_in_fills_in_its_lot(browser_of, site, can):
    page = browser_of("technician").get(
        "/stock/goods-in/", {"scan": f"http://x{path_to('can', can.pk)}"}
    )
    assert page.status_code == 200
    assert 'value="LOT-7A"' in page.content.decode()
    assert "own label of can" in page.content.decode()
    assert Container.objects.count() == 1
