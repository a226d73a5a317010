from datetime import date

import pytest

from shop.materials.suppliers import SupplierClosure
from shop.outlook import queries
from shop.proposals import actions as proposals
from tests.factories.purchasing import make_need, make_pack
from tests.factories.shop import make_supplier

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]

ADDRESS = "/api/v1/supplier-closures"


def body(supplier, first="2026-12-01", last="2026-12-06", **more):
    return {"supplier": str(supplier.pk), "first_day": first, "last_day": last, **more}


def test_a_shutdown_moves_the_last_day_to_order_and_the_day_goods_come(site):
    pack = make_pack(supplier=make_supplier(lead_time_days=7, closed_weekdays=[6, 7]))
    make_need(site, pack.material, 14, 5)  # Wednesday 9 December
    (row,) = queries.rows(site)
    assert row.last_order_on == date(2026, 12, 2)
    SupplierClosure.objects.create(
        supplier=pack.supplier, first_day=date(2026, 12, 1), last_day=date(2026, 12, 2)
    )
    SupplierClosure.objects.create(
        supplier=pack.supplier, first_day=date(2026, 12, 8), last_day=date(2026, 12, 9)
    )
    (row,) = queries.rows(site)
    # There by Monday 7 December, so ordered by Monday 30 November.
    assert row.last_order_on == date(2026, 11, 30)
    (proposal,) = proposals.work_out(site=site).proposals
    assert proposal.order_on <= date(2026, 11, 30)
    assert proposal.arrives_on <= date(2026, 12, 7)


def test_a_closure_is_entered_changed_and_taken_back(api):
    supplier, call = make_supplier(), api("purchasing")
    made = call.post(ADDRESS, body(supplier, reason="shutdown"), format="json")
    assert made.status_code == 201, made.content
    one = f"{ADDRESS}/{made.json()['id']}"
    changed = call.patch(
        one, {"last_day": "2026-12-07"}, content_type="application/merge-patch+json"
    )
    assert changed.json()["last_day"] == "2026-12-07", changed.content
    assert call.delete(one).status_code == 204
    assert not SupplierClosure.objects.exists()


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        ("2026-12-06", "2026-12-01", "last_day"),
        ("2026-12-01", "2027-12-01", "closes 366 days"),
        ("9999-12-01", "9999-12-31", "give days from 2000-01-01 to 2199-12-31"),
        ("0001-01-01", "0001-01-02", "give days from 2000-01-01 to 2199-12-31"),
        ("2026-12-01", "2027-02-20", "with the closures around it"),
    ],
)
def test_a_closure_nobody_could_order_across_is_refused(api, first, last, words):
    supplier, call = make_supplier(), api("purchasing")
    before = call.post(ADDRESS, body(supplier, "2026-11-26", "2026-11-30"), format="json")
    assert before.status_code == 201
    call.post(ADDRESS, body(supplier, "2027-03-01", "2027-03-10"), format="json")
    answer = call.post(ADDRESS, body(supplier, first, last), format="json")
    assert answer.status_code == 422, answer.content
    assert words in answer.content.decode()
    assert SupplierClosure.objects.count() == 2


def test_a_supplier_closed_all_week_is_refused(api):
    new = {"code": "S-9", "name": "Never", "closed_weekdays": [1, 2, 3, 4, 5, 6, 7]}
    answer = api("purchasing").post("/api/v1/suppliers", new, format="json")
    assert answer.status_code == 422, answer.content
    assert "leave one open" in answer.content.decode()


def test_the_page_shows_and_changes_closures(browser_of):
    supplier, browser = make_supplier(name="Resin House"), browser_of("purchasing")
    page = browser.post(
        f"/buying/suppliers/{supplier.pk}/close/",
        {"first_day": "2026-12-24", "last_day": "2027-01-03", "reason": "Christmas"},
        follow=True,
    ).content.decode()
    assert "Resin House is closed from 2026-12-24 to 2027-01-03." in page
    assert "Christmas" in page
    wrong = browser.post(
        f"/buying/suppliers/{supplier.pk}/close/",
        {"first_day": "2027-02-03", "last_day": "2027-02-01"},
        follow=True,
    ).content.decode()
    assert "last_day must not be before first_day. Nothing was changed." in wrong
    (closure,) = supplier.closures.all()
    browser.post(f"/buying/suppliers/{closure.pk}/open/")
    assert not supplier.closures.exists()
    assert browser_of("technician").post(
        f"/buying/suppliers/{supplier.pk}/close/", {"first_day": "2026-12-24"}
    ).status_code == 403  # fmt: skip
