"""Who writes an order does not approve it, where the company says so."""

import pytest

from shop.catalogue import actions as catalogue
from shop.purchasing import actions
from shop.purchasing.errors import OrderState
from tests.callers import make_user
from tests.factories.purchasing import make_pack, new_line

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]


@pytest.fixture
def people(site):
    return make_user("purchasing", site), make_user("administrator", site)


def written(site, by):
    pack = make_pack()
    return actions.draft(site=site, supplier=pack.supplier, lines=[new_line(pack)], by=by)


def test_one_person_may_do_both_unless_the_company_says_otherwise(site, people):
    writer, _ = people
    assert actions.approve(order=written(site, writer), by=writer).approved_by == writer


def test_the_writer_is_refused_and_another_may(site, people):
    writer, other = people
    catalogue.set_rules(orders_by_two=True)
    order = written(site, writer)
    with pytest.raises(OrderState, match="somebody else approves it"):
        actions.approve(order=order, by=writer)
    order.refresh_from_db()
    assert order.status == "draft"
    assert actions.approve(order=order, by=other).approved_by == other


def test_the_rule_is_set_by_page_without_touching_the_other(site, browser_of):
    client = browser_of("administrator")
    page = client.post("/catalogue/rules/", {"orders_by_two": "1"}, follow=True)
    assert "A second signature of purchase orders is asked for" in page.content.decode()
    found = catalogue.queries.rules()
    assert (found.orders_by_two, found.two_signatures) == (True, False)
    client.post("/catalogue/rules/", {"two_signatures": "1"})
    client.post("/catalogue/rules/", {"orders_by_two": "0"})
    found = catalogue.queries.rules()
    assert (found.orders_by_two, found.two_signatures) == (False, True)


def test_the_shops_own_addresses_are_entered_by_page(site, other_site, browser_of):
    client = browser_of("administrator", at=site)
    values = {"name": "Our shop", "expected_c": "21.5", "address": "1 Mould Lane\n1234 Town"}
    assert client.post(f"/setup/this-shop/{site.pk}/", values).status_code == 302
    site.refresh_from_db()
    assert (site.name, site.address.splitlines()) == ("Our shop", ["1 Mould Lane", "1234 Town"])
    assert client.get("/setup/this-shop/").status_code == 200
    assert client.get("/setup/this-shop/enter/").status_code == 404
    assert client.post(f"/setup/this-shop/{site.pk}/keep/", {"remove": "1"}).status_code == 404
    assert client.post(f"/setup/this-shop/{other_site.pk}/", values).status_code == 404
    bad = client.post(f"/setup/this-shop/{site.pk}/", values | {"expected_c": "77"})
    assert "0 to 45" in bad.content.decode()
