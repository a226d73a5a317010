import csv
import io
from datetime import timedelta
from decimal import Decimal

import pytest

from shop.ledger import actions, queries
from tests.factories.shop import NOW, make_container, make_lot, make_material, make_supplier

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]


@pytest.fixture
def history(site):
    """10 kg came in before the tests' year; 4 kg went ten days ago, of which 1 kg was undone."""
    lot = make_lot(
        site, make_material(name="Blue resin", code="RES"), supplier=make_supplier(name="House"),
        code="L1", unit_cost=Decimal("8.40"),
    )  # fmt: skip
    can = make_container(lot, holds=10)
    for key, quantity in (("a", 3), ("b", 1)):
        actions.issue(
            container_id=can.pk, quantity=Decimal(quantity), key=key, counterpart="batch:1",
            happened_at=NOW - timedelta(days=10),
        )  # fmt: skip
    actions.reverse(
        key_of_original="b", key="r", reason="another can", happened_at=NOW - timedelta(days=5)
    )
    return lot


def rows_of(client, day):
    text = client.get(f"/stock/past.csv?day={day}").content.decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text, newline="")))


@pytest.mark.parametrize(
    ("day", "held"),
    [("2026-11-14", "10.000"), ("2026-11-15", "6.000"), ("2026-11-20", "7.000")],
)
def test_a_past_day_is_shown_as_it_was_at_its_end(browser_of, history, day, held):
    page = browser_of("technician").get(f"/stock/past/?day={day}").content.decode()
    assert f"{held} kg" in page.replace("\N{NO-BREAK SPACE}", " ")


def test_the_file_names_every_lot_and_its_worth_only_for_who_may_see_prices(browser_of, history):
    (row,) = rows_of(browser_of("purchasing"), "2026-11-15")
    assert (row["material"], row["lot"], row["supplier"]) == ("RES", "L1", "House")
    assert (row["quantity"], row["unit"], row["worth"], row["currency"]) == (
        "6.0000", "kg", "50.40", "EUR",
    )  # fmt: skip
    (bare,) = rows_of(browser_of("technician"), "2026-11-15")
    assert "worth" not in bare
    client = browser_of("technician")
    assert client.get("/stock/past.xlsx?day=2026-11-15").content[:2] == b"PK"
    assert client.get("/stock/past.ods").status_code == 404


@pytest.mark.parametrize(
    ("day", "words"), [("2026-11-26", "give today, 2026-11-25"), ("x", "no such day")]
)
def test_a_day_to_come_or_no_day_is_told(browser_of, history, day, words):
    page = browser_of("technician").get(f"/stock/past/?day={day}").content.decode()
    assert words in page
    assert "7.000" in page


def test_another_sites_stock_is_not_in_it(browser_of, site, other_site):
    make_container(make_lot(other_site), holds=5)
    assert "Nothing was in stock" in browser_of("technician").get("/stock/past/").content.decode()
    assert rows_of(browser_of("purchasing"), "2026-11-25") == []


def test_the_past_asks_as_often_for_many_lots_as_for_few(site, history, count_queries):
    few = count_queries(lambda: (queries.totals_at(site, NOW), queries.lots_at(site, NOW)))
    for _ in range(8):
        make_container(make_lot(site), holds=1)
    many = count_queries(lambda: (queries.totals_at(site, NOW), queries.lots_at(site, NOW)))
    assert few == many == 4
    now = {m.pk: total for m, total in queries.totals_at(site, NOW)}
    assert now[history.material_id] == 7
    assert sum(one.quantity for one in queries.lots_at(site, NOW)) == 15
