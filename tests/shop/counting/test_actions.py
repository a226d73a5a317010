from decimal import Decimal

import pytest

from shared.errors import Invalid
from shop.counting import actions, queries
from shop.counting.models import CountLine
from shop.errors import Refused
from shop.ledger import actions as ledger
from shop.ledger.models import Movement
from tests.factories.shop import (
    NOW,
    make_container,
    make_location,
    make_lot,
    make_material,
    make_site,
    make_user,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def place():
    """A shelf with two containers, and three people."""
    site = make_site()
    shelf = make_location(site)
    lot = make_lot(site)
    cans = [make_container(lot, holds=10, code=c, location=shelf) for c in ("A", "B")]
    people = [make_user(site) for _ in range(3)]
    return site, shelf, cans, people


def start(shelf, by):
    return actions.start(location=shelf, by=by, at=NOW, tolerance_percent=Decimal(1))


def write(count, can, figure, by):
    return actions.write_down(
        count_id=count.pk, container_id=can.pk, figure=Decimal(figure), by=by, at=NOW
    )


def balance(can):
    can.refresh_from_db()
    return can.balance


def test_a_count_books_differences_only_on_approval_by_a_third_person(place):
    _, shelf, (a, b), (ann, ben, cleo) = place
    count = start(shelf, ann)
    write(count, a, "10.05", ann)
    write(count, b, 8, ann)
    assert not queries.is_complete(count)
    with pytest.raises(actions.SameCounter, match="somebody else must count it again"):
        write(count, b, 8, ann)
    write(count, b, "8.1", ben)
    assert queries.is_complete(count)
    assert (balance(a), balance(b)) == (10, 10)
    for counter in (ann, ben):
        with pytest.raises(actions.SameCounter, match="somebody else must approve"):
            actions.approve(count_id=count.pk, by=counter, at=NOW)
    actions.approve(count_id=count.pk, by=cleo, at=NOW)
    assert (balance(a), balance(b)) == (Decimal("10.05"), Decimal("8.1"))
    with pytest.raises(actions.CountNotOpen):
        actions.approve(count_id=count.pk, by=cleo, at=NOW)
    assert Movement.objects.filter(kind="count").count() == 2


def test_within_tolerance_no_second_count_is_asked(place):
    _, shelf, (a, b), (ann, *_) = place
    count = start(shelf, ann)
    assert not write(count, a, "9.9", ann).second_wanted
    assert write(count, b, "9.8999", ann).second_wanted


def test_what_is_issued_between_count_and_approval_stays_issued(place):
    _, shelf, (a, b), (ann, _, cleo) = place
    count = start(shelf, ann)
    write(count, a, "9.95", ann)
    write(count, b, 10, ann)
    ledger.issue(
        container_id=a.pk, quantity=Decimal(4), key="i", counterpart="batch:1", happened_at=NOW
    )
    actions.approve(count_id=count.pk, by=cleo, at=NOW)
    assert balance(a) == Decimal("5.95")


def test_a_container_found_on_the_wrong_shelf_is_set_right(place):
    site, shelf, cans, (ann, _, cleo) = place
    stray = make_container(make_lot(site), holds=3, location=make_location(site))
    count = start(shelf, ann)
    for can, figure in ((*cans, 10), (stray, 3))[1:]:
        write(count, can, figure, ann)
    for can in cans:
        write(count, can, 10, ann)
    actions.approve(count_id=count.pk, by=cleo, at=NOW)
    stray.refresh_from_db()
    assert stray.location == shelf


def test_an_incomplete_count_is_not_approved_and_a_shelf_is_counted_once_at_a_time(place):
    _, shelf, (a, _), (ann, _, cleo) = place
    count = start(shelf, ann)
    write(count, a, 10, ann)
    with pytest.raises(actions.CountIncomplete, match="1 containers still want a figure"):
        actions.approve(count_id=count.pk, by=cleo, at=NOW)
    with pytest.raises(Refused, match="is being counted already"):
        start(shelf, ann)
    actions.cancel(count_id=count.pk, by=ann, at=NOW)
    start(shelf, ann)
    assert not Movement.objects.filter(kind="count").exists()


@pytest.mark.parametrize("figure", ["-1", "NaN", "1.00001"])
def test_a_figure_that_makes_no_sense_is_refused(place, figure):
    _, shelf, (a, _), (ann, *_) = place
    count = start(shelf, ann)
    with pytest.raises(Invalid, match="figure is"):
        write(count, a, figure, ann)
    assert CountLine.objects.get(container=a).first is None


def test_the_api_is_blind_until_all_is_counted(api, site):
    shelf = make_location(site)
    can = make_container(make_lot(site), holds=10, location=shelf)
    first, third = api("technician"), api("purchasing")
    count = first.post("/api/v1/counts", {"location": str(shelf.pk)})
    assert count.status_code == 201, count.data
    assert "10.0000" not in str(count.data)
    address = f"/api/v1/counts/{count.data['id']}"
    body = {"container": str(can.pk), "quantity": {"value": "9", "unit": "kg"}}
    told = first.post(f"{address}/figures", body)
    assert told.data["lines"][0]["wanted"] == "second"
    assert "10.0000" not in str(told.data)
    done = api("technician").post(f"{address}/figures", body)
    assert done.data["lines"][0]["variance"] == {"value": "-1.0000", "unit": "kg"}
    approved = third.post(f"{address}/approvals", {})
    assert (approved.status_code, approved.data["status"]) == (201, "approved")
    assert balance(can) == 9


def test_a_count_by_page(browser_of, site):
    shelf = make_location(site)
    can = make_container(make_lot(site), holds=10, location=shelf, code="CAN-1")
    one, two, three = (browser_of("technician") for _ in range(3))
    begun = one.post("/stock/counts/start/", {"location": shelf.pk, "tolerance": "1"})
    address = begun["Location"]
    figure = {"code": "CAN-1", "figure": "9"}
    one.post(f"{address}figure/", figure)
    page = one.get(address).content.decode()
    assert "a second figure" in page
    assert "10.000" not in page
    two.post(f"{address}figure/", figure)
    assert "10.000" in two.get(address).content.decode()
    one.post(f"{address}approve/")
    assert balance(can) == 10
    three.post(f"{address}approve/")
    assert balance(can) == 9
    assert "Approved" in three.get("/stock/counts/").content.decode()


def test_a_container_tapped_on_the_list_fills_the_form_in(browser_of, site):
    shelf = make_location(site)
    can = make_container(
        make_lot(site, make_material(unit="pc")), holds=10, location=shelf, code="CAN-1"
    )
    client = browser_of("technician")
    address = client.post("/stock/counts/start/", {"location": shelf.pk, "tolerance": "1"})
    page = client.get(address["Location"]).content.decode()
    assert f'href="?container={can.pk}"' in page
    assert 'value="CAN-1"' not in page
    page = client.get(f"{address['Location']}?container={can.pk}").content.decode()
    assert 'value="CAN-1"' in page
    assert "What is in it, pieces" in page
    assert client.get(f"{address['Location']}?container=x").status_code == 200
