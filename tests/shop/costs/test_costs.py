from datetime import date, timedelta
from decimal import Decimal

import pytest

from shop.costs import queries
from shop.ledger import actions as ledger
from shop.ledger.models import MovementKind
from shop.trace import providers
from tests.factories.purchasing import make_need
from tests.factories.shop import NOW, make_container, make_lot, make_material, make_supplier

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]
NOVEMBER = (date(2026, 11, 1), date(2026, 11, 30))


@pytest.fixture
def resin(site):
    lot = make_lot(
        site, make_material(code="RES"), supplier=make_supplier(), code="L1",
        unit_cost=Decimal("8.40"), expires_on=date(2026, 11, 20),
    )  # fmt: skip
    return make_container(lot, 20)


def issue(container, quantity, counterpart, days=-10, key=None):
    return ledger.issue(
        container_id=container.pk, quantity=Decimal(str(quantity)), counterpart=counterpart,
        key=key or f"{counterpart}:{quantity}", happened_at=NOW + timedelta(days=days),
    )  # fmt: skip


class Batches:
    """Batch 7 went into two castings, 3 kg and 1 kg; batch 8 into the first alone."""

    def uses(self, counterparts):
        parts = {"batch:7": [("pour:1", 3), ("pour:2", 1)], "batch:8": [("pour:1", 2)]}
        return {
            c: providers.Use(
                c, c, "", None, (), (),
                tuple(providers.Part(p, f"Half {p[-1]}", None, Decimal(kg)) for p, kg in parts[c]),
            )
            for c in counterparts if c in parts
        }  # fmt: skip

    def counterparts_of(self, castings):
        return {"batch:7", "batch:8"} if "pour:1" in castings else {"batch:7"}


@pytest.fixture
def batches(monkeypatch):
    monkeypatch.setitem(providers._providers, "batch:", Batches())


def test_a_batch_is_shared_by_mass_and_a_casting_counts_whole(site, resin, batches):
    issue(resin, 4, "batch:7")
    issue(resin, 2, "batch:8", days=-20)
    rows = {row.label: row.cost.totals for row in queries.costs(site, *NOVEMBER)}
    # by hand: half 1 took 3 kg of batch 7 and 2 kg of batch 8, 5 x 8.40; half 2 took 1 kg
    assert rows == {"Half 1": {"EUR": Decimal("42.00")}, "Half 2": {"EUR": Decimal("8.40")}}


def test_two_suppliers_lots_of_one_code_keep_their_prices(site, resin):
    twin = make_lot(
        site, resin.lot.material, supplier=make_supplier(), code="L1", unit_cost=Decimal(10)
    )
    issue(resin, 1, "other:coat 3", key="a")
    issue(make_container(twin, 5), 1, "other:coat 3", key="b")
    (row,) = queries.costs(site, *NOVEMBER)
    assert row.cost.totals == {"EUR": Decimal("18.40")}
    assert len(row.cost.lines) == 2


def test_a_reversed_issue_costs_nothing(site, resin):
    issue(resin, 4, "batch:9", key="k")
    ledger.reverse(key_of_original="k", key="undo", reason="wrong lot", happened_at=NOW)
    assert queries.costs(site, *NOVEMBER) == ()


def test_a_use_nobody_can_name_stands_by_itself(site, resin):
    issue(resin, 1, "other:coat 3")
    (row,) = queries.costs(site, *NOVEMBER)
    assert (row.label, row.cost.totals) == ("coat 3", {"EUR": Decimal("8.40")})


def test_scrap_of_a_stale_lot_is_called_expired_and_undone_scrap_is_taken_off(site, resin):
    def scrap(quantity, days, key):
        ledger.take_out(
            kind=MovementKind.SCRAP, container_id=resin.pk, quantity=Decimal(quantity), key=key,
            counterpart="waste", happened_at=NOW + timedelta(days=days),
        )  # fmt: skip

    scrap(2, -1, "stale")
    scrap(1, -20, "spilt")
    scrap(3, -19, "mistake")
    ledger.reverse(key_of_original="mistake", key="u", reason="not spilt", happened_at=NOW)
    found = {(r.reason, r.quantity, r.cost["EUR"]) for r in queries.losses(site, *NOVEMBER)}
    assert found == {
        ("expired", Decimal(2), Decimal("16.80")),
        ("scrapped", Decimal(1), Decimal("8.40")),
    }


def test_what_is_out_of_date_on_the_shelf_has_its_worth(site, resin):
    (row,) = queries.stale_stock(site, date(2026, 11, 25))
    assert (row.material_code, row.quantity, row.cost) == ("RES", 20, Decimal("168.00"))
    assert queries.stale_stock(site, date(2026, 11, 20)) == ()


def test_what_will_expire_unused_is_told_by_month(api, browser_of, site, resin):
    fresh = make_lot(site, resin.lot.material, expires_on=date(2027, 2, 10))
    make_container(fresh, holds=6)
    make_need(site, resin.lot.material, 30, "2.5")
    losses = api("planner").get("/api/v1/losses").json()
    assert losses["will_expire_unused"] == [
        {"month": "2027-02", "material_code": "RES", "quantity": "3.5000", "unit": "kg"}
    ]
    page = browser_of("purchasing").get("/buying/costs/").content.decode()
    assert "Feb 2027" in page


def test_calls_and_page_are_for_those_who_may_see_prices(api, browser_of, site, resin):
    issue(resin, 1, "other:coat 3")
    costs = api("purchasing").get("/api/v1/casting-costs?month=2026-11").json()
    assert costs["items"][0]["totals"] == {"EUR": "8.40"}
    losses = api("planner").get("/api/v1/losses?months=3").json()
    assert losses["out_of_date_now"][0]["cost"] == "159.60"
    assert api("technician").get("/api/v1/losses").status_code == 403
    page = browser_of("purchasing").get("/buying/costs/").content.decode()
    page = page.replace("\N{NO-BREAK SPACE}", " ")
    assert "8.40 EUR" in page
    assert '<td class="num">1.000 kg</td>' in page  # with its unit
    assert f">{resin.lot.material.name}</a>" in page
    assert browser_of("technician").get("/buying/costs/").status_code == 403


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("casting-costs?month=2026-13", "month is '2026-13'; give a month such as 2026-11"),
        ("casting-costs?month=٢٠٢٦-11", "give a month"),
        ("losses?months=99", "months is '99'; give a whole number, 1 to 36"),
        ("losses?site=x", "site is 'x'"),
        ("losses?year=1", "'year' is not a parameter here"),
    ],
)
def test_parameters_that_mean_nothing_are_refused(api, site, path, words):
    answer = api("planner").get(f"/api/v1/{path}")
    assert answer.status_code == 400
    assert words in answer.json()["detail"]
