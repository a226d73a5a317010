from datetime import date, timedelta
from decimal import Decimal

import pytest

from shop.ledger.models import Movement
from shop.ledger.reservations import reserve
from shop.lots.models import Lot
from shop.materials.models import Pack
from tests.factories.shop import (
    NOW,
    make_container,
    make_location,
    make_lot,
    make_material,
    make_supplier,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]


def kg(value):
    return {"value": str(value), "unit": "kg"}


def issue_body(container, value="4.2", **values):
    usual = {"kind": "issue", "container": str(container.pk), "quantity": kg(value)}
    return usual | {"counterpart": "other:training"} | values


def balance(container):
    container.refresh_from_db()
    return container.balance


def test_an_issue_comes_back_and_a_repeat_is_the_same_answer(api, site):
    container = make_container(make_lot(site), holds=25)
    client = api("technician")
    key = {"Idempotency-Key": "weigh-in-of-batch-7"}
    first = client.post("/api/v1/movements", issue_body(container), headers=key)
    assert first.status_code == 201, first.data
    assert first.data["quantity"] == {"value": "-4.2000", "unit": "kg"}
    again = client.post("/api/v1/movements", issue_body(container), headers=key)
    assert again["Idempotent-Replayed"] == "true"
    assert again.json()["id"] == first.data["id"]
    assert balance(container) == Decimal("20.8")


def test_grams_are_read_and_kept_exactly(api, site):
    container = make_container(make_lot(site), holds=1)
    body = issue_body(container) | {"quantity": {"value": "250.5", "unit": "g"}}
    assert api().post("/api/v1/movements", body).status_code == 201
    assert balance(container) == Decimal("0.7495")


@pytest.mark.parametrize(
    ("values", "status", "words"),
    [
        ({"quantity": kg(26)}, 409, "26 kg asked, it holds 25 kg"),
        ({"quantity": {"value": "1", "unit": "lb"}}, 422, "is not one of: kg, g, L"),
        ({"quantity": {"value": "1", "unit": "L"}}, 422, "is counted in kg, give kg or g"),
        ({"quantity": kg("-1")}, 422, "must be a number above 0"),
        ({"quantity": kg("0.00001")}, 422, "at most 4 are kept"),
        ({"happened_at": "2026-11-26T12:00:00Z"}, 422, "must not be in the future"),
        ({"happened_at": "2026-02-30T12:00:00Z"}, 422, "does not exist"),
        ({"happened_at": "2026-11-20T12:00:00"}, 422, "with offset"),
        ({"counterpart": ""}, 422, "may not be blank"),
        ({"kind": "gift"}, 422, "is not one of: issue, sample, scrap, return"),
        ({"quantiy": 1}, 422, "is not a field here"),
    ],
)
def test_bad_movements_are_refused_in_words_and_change_nothing(api, site, values, status, words):
    container = make_container(make_lot(site), holds=25)
    answer = api().post("/api/v1/movements", issue_body(container) | values)
    assert answer.status_code == status
    said = answer.data["detail"] + " ".join(e["detail"] for e in answer.data.get("errors", []))
    assert words in said
    assert balance(container) == 25


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"expires_on": date(2026, 11, 1)}, "lot_expired"),
        ({"status": "quarantine"}, "lot_quarantined"),
        ({"status": "held"}, "lot_held"),
    ],
)
def test_lots_that_may_not_be_used_are_a_409_with_a_code(api, site, values, code):
    container = make_container(make_lot(site, **values), holds=25)
    answer = api().post("/api/v1/movements", issue_body(container))
    assert (answer.status_code, answer.data["code"]) == (409, code)


def test_a_movement_is_undone_by_another_and_never_edited(api, site):
    container = make_container(make_lot(site), holds=25)
    client = api()
    first = client.post("/api/v1/movements", issue_body(container)).data
    undo = {"reverses": first["id"]}
    assert client.post("/api/v1/movements", undo).status_code == 422
    undone = client.post("/api/v1/movements", undo | {"reason": "wrong can"})
    assert undone.status_code == 201, undone.data
    assert (undone.data["kind"], undone.data["reverses"]) == ("reversal", first["id"])
    assert balance(container) == 25
    twice = client.post("/api/v1/movements", undo | {"reason": "again"})
    assert (twice.status_code, twice.data["code"]) == (409, "already_reversed")
    for method in (client.patch, client.put, client.delete):
        assert method(f"/api/v1/movements/{first['id']}", {}).status_code == 405


def test_a_client_reference_guards_after_the_key_is_forgotten(api, site):
    container = make_container(make_lot(site), holds=25)
    client = api()
    body = issue_body(container, client_reference="order-88-line-1")
    first = client.post("/api/v1/movements", body)
    assert client.post("/api/v1/movements", body).data["id"] == first.data["id"]
    other = client.post("/api/v1/movements", body | {"quantity": kg(1)})
    assert (other.status_code, other.data["code"]) == (409, "key_reused")
    assert balance(container) == Decimal("20.8")


def test_another_sites_stock_does_not_exist(api, site, other_site):
    container = make_container(make_lot(other_site), holds=25)
    assert api().post("/api/v1/movements", issue_body(container)).status_code == 422
    assert api().get("/api/v1/movements").data["items"] == []
    assert api().get(f"/api/v1/containers/{container.pk}").status_code == 404


def delivery(material, **values):
    lot = {"material": str(material.pk), "lot_code": "LOT-7A", "expires_on": "2027-06-30"}
    return {"goods": [lot | {"containers": [{"quantity": kg(25)}]} | values]}


def test_a_receipt_makes_lots_and_containers(api, site):
    shelf = make_location(site)
    containers = [{"quantity": kg(25), "location": str(shelf.pk)}, {"quantity": kg(24)}]
    body = delivery(make_material(), containers=containers)
    answer = api("technician").post("/api/v1/receipts", body)
    assert answer.status_code == 201, answer.data
    [one] = answer.data["lots"]
    assert one["lot"]["status"] == "released"
    assert [c["balance"]["value"] for c in one["containers"]] == ["25.0000", "24.0000"]
    assert "unit_cost" not in one["lot"]


def test_one_bad_lot_of_two_takes_nothing_in_and_is_pointed_at(api, site):
    material = make_material(shelf_life_months=6)
    body = delivery(material)
    body["goods"].append(body["goods"][0] | {"lot_code": "LOT-8", "expires_on": "2026-11-01"})
    answer = api().post("/api/v1/receipts", body)
    assert answer.status_code == 422
    assert [e["pointer"] for e in answer.data["errors"]] == ["#/goods/1/expires_on"]
    assert not Lot.objects.exists()


def test_a_technician_may_not_set_prices_of_goods(api, site):
    body = delivery(make_material(), unit_cost="8.40")
    assert api("technician").post("/api/v1/receipts", body).status_code == 422
    answer = api("purchasing").post("/api/v1/receipts", body)
    assert answer.data["lots"][0]["lot"]["unit_cost"] == "8.4000"


GTIN = "09506000134352"


@pytest.fixture
def pail():
    return Pack.objects.create(
        material=make_material(shelf_life_months=12), supplier=make_supplier(), name="pail",
        content=25, price=1, gtin=GTIN,
    )  # fmt: skip


def test_a_scanned_label_fills_in_the_receipt(api, site, pail):
    body = {"goods": [{"scan": f"01{GTIN}1727063010LOT-9"}]}
    answer = api().post("/api/v1/receipts", body)
    assert answer.status_code == 201, answer.data
    lot = answer.data["lots"][0]["lot"]
    assert (lot["code"], lot["expires_on"]) == ("LOT-9", "2027-06-30")
    assert (lot["material"], lot["supplier"]) == (str(pail.material_id), str(pail.supplier_id))
    assert lot["balance"] == {"value": "25.0000", "unit": "kg"}


def test_a_label_that_contradicts_what_was_typed_is_asked_about(api, site, pail):
    body = {"goods": [{"scan": f"01{GTIN}1727063010LOT-9", "lot_code": "LOT-8"}]}
    answer = api().post("/api/v1/receipts", body)
    assert answer.status_code == 422
    [error] = answer.data["errors"]
    assert error["pointer"] == "#/goods/0/lot_code"
    assert "the scanned label says LOT-9" in error["detail"]


def test_a_scan_is_read_without_storing_anything(api, site, pail):
    scan = api("technician").post("/api/v1/scans", {"text": f"01{GTIN}10LOT-9"})
    assert scan.status_code == 200, scan.data
    assert scan.data["quantity"] == {"value": "25.0000", "unit": "kg"}
    bad = api().post("/api/v1/scans", {"text": "nonsense"})
    assert bad.status_code == 422
    assert not Lot.objects.exists()


def test_a_split_fills_a_new_container_and_loses_nothing(api, site):
    shelf = make_location(site)
    container = make_container(make_lot(site), holds=25, location=shelf)
    body = {"container": str(container.pk), "quantity": kg(5)}
    answer = api("technician").post("/api/v1/splits", body)
    assert answer.status_code == 201, answer.data
    assert answer.data["balance"]["value"] == "5.0000"
    assert answer.data["location"] == str(shelf.pk)
    assert balance(container) == 20
    refused = api().post("/api/v1/splits", body | {"quantity": kg(21)})
    assert refused.status_code == 409
    assert container.lot.containers.count() == 2


def test_stock_now_tells_usable_from_blocked_expired_and_soon(api, site):
    resin = make_material(code="RES", open_life_days=10)
    usable = make_container(make_lot(site, resin), holds=10)
    make_container(make_lot(site, resin, expires_on=date(2026, 12, 10)), holds=3)
    make_container(make_lot(site, resin, expires_on=date(2026, 11, 24)), holds=2)
    make_container(make_lot(site, resin, status="quarantine"), holds=4)
    opened = make_container(make_lot(site, resin), holds=1)
    opened.opened_at = NOW - timedelta(days=11)
    opened.save()
    reserve(container_id=usable.pk, quantity=Decimal(6), purpose="p", needed_at=NOW)
    [row] = api().get("/api/v1/stock?material=RES").data["items"]
    figures = {n: float(row[n]["value"]) for n in row if not n.startswith("material")}
    assert figures == {
        "total": 20, "usable": 13, "reserved": 6, "free": 7, "blocked": 4, "expired": 3, "soon": 3,
    }  # fmt: skip


def test_stock_at_a_past_moment_comes_from_the_ledger(api, site):
    container = make_container(make_lot(site), holds=25)
    client = api()
    early = issue_body(container, "5", happened_at="2026-11-10T08:00:00Z")
    late = issue_body(container, "7", happened_at="2026-11-20T08:00:00Z")
    for body in (early, late):
        assert client.post("/api/v1/movements", body).status_code == 201
    for at, held in (("2026-11-15T00:00:00Z", "20.0000"), ("2026-11-21T00:00:00Z", "13.0000")):
        [row] = client.get("/api/v1/stock", {"at": at}).data["items"]
        assert row["balance"]["value"] == held
    assert client.get("/api/v1/stock", {"at": "2026-10-01T00:00:00Z"}).data["items"] == []
    assert client.get("/api/v1/stock", {"at": "yesterday"}).status_code == 400


@pytest.mark.parametrize("address", ["movements", "lots", "containers", "stock"])
def test_lists_ask_as_often_for_one_row_as_for_many(api, site, queries, address):
    client = api()

    def ask():
        assert client.get(f"/api/v1/{address}").status_code == 200

    make_container(make_lot(site), holds=1)
    ask()
    few = queries(ask)
    for _ in range(6):
        make_container(make_lot(site), holds=1, location=make_location(site))
    assert queries(ask) == few
    assert Movement.objects.count() == 7
