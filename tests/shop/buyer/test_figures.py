"""The buyer's figures: by hand, by page, file and REST."""

import csv
import io
from datetime import date, timedelta
from decimal import Decimal

import pytest

from shop.buyer import queries
from shop.buyer.tables import TABLES
from shop.ledger import actions as ledger
from shop.ledger.goods_in import Goods, Pack, receive_goods
from shop.ledger.receipt_terms import ReceiptTerms
from shop.lots.models import Lot
from shop.purchasing import actions
from shop.purchasing.papers import _asked
from tests.factories.purchasing import make_order, make_pack, new_line
from tests.factories.shop import (
    NOW,
    make_container,
    make_lot,
    make_material,
    make_recipe,
    make_supplier,
    make_system,
    make_tool,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]
DAY = timedelta(days=1)
TODAY = NOW.date()
D = Decimal
YEAR_AGO = TODAY - timedelta(days=365)


def goods(order, quantity=10, lot="L1", days=400):
    line = order.lines.get()
    one = Goods(line.material, lot, [Pack(D(quantity))], expires_on=TODAY + days * DAY)
    return [(line.pk, one)]


def bring(order, at=NOW, key="d", **values):
    return actions.receive(order=order, goods=goods(order, **values), key=key, received_at=at)


class TestAtGoodsIn:
    def test_price_and_life_left_are_kept_as_they_came_in(self, site):
        supplier = make_supplier(least_life_days=300, currency="GBP")
        order = make_order(site, make_pack(supplier=supplier))
        [taken] = bring(order, days=299)
        [terms] = ReceiptTerms.objects.all()
        assert (terms.unit_cost, terms.currency) == (D(12), "GBP")
        assert (terms.life_left_days, terms.least_life_days, terms.fresh) == (299, 300, False)
        assert "299 days of shelf life are left; 300 days are ordered from" in taken.warnings[0]
        Lot.objects.update(expires_on=TODAY + 500 * DAY, unit_cost=1)
        terms.refresh_from_db()
        assert (terms.life_left_days, terms.unit_cost) == (299, D(12))

    def test_what_the_order_asks_holds_over_what_is_agreed_and_stands_on_paper(self, site):
        pack = make_pack(supplier=make_supplier(least_life_days=300))
        line = new_line(pack)
        lines = [line, actions.NewLine(**{**vars(line), "least_life_days": 400})]
        order = actions.draft(site=site, supplier=pack.supplier, lines=lines)
        assert [one.life_asked for one in order.lines.all()] == [300, 400]
        assert sum("days of shelf life must be left" in words for words in _asked(order)) == 2
        pack.supplier.least_life_days = 10
        pack.supplier.save()
        assert [one.life_asked for one in order.lines.all()] == [300, 400]

    def test_goods_without_an_order_are_judged_by_what_is_agreed(self, site):
        one = Goods(make_material(), "L", [Pack(D(1))], supplier=make_supplier(least_life_days=9),
                    expires_on=TODAY + 9 * DAY)  # fmt: skip
        receive_goods(site=site, goods=[one], key="k", received_at=NOW)
        assert ReceiptTerms.objects.get().fresh is True


class TestSuppliers:
    def test_lines_late_short_and_sound(self, site):
        supplier = make_supplier(least_life_days=100)
        pack = make_pack(supplier=supplier)
        good, late, short, coming = (make_order(site, pack, days=d) for d in (-10, -10, -5, 5))
        bring(good, NOW - 11 * DAY, "a")
        bring(late, NOW - 8 * DAY, "b", lot="L2", days=50)
        [taken] = bring(short, NOW - 6 * DAY, "c", quantity=5, lot="L3")
        Lot.objects.filter(pk=taken.lot.pk).update(status="held")
        assert coming.status == "ordered"
        [one] = queries.suppliers(site, YEAR_AGO, TODAY)
        assert (one.supplier, one.done.lines) == (supplier, 3)
        assert (one.done.on_time.good, one.done.in_full.good) == (1, 2)
        assert one.done.mean_late_days == 1.0
        assert (one.done.sound.good, one.done.sound.of) == (2, 3)
        assert (one.done.fresh.good, one.done.fresh.of) == (2, 3)

    def test_a_receipt_booked_by_mistake_and_undone_counts_as_nothing(self, site):
        order = make_order(site, days=-3)
        bring(order, NOW - 4 * DAY)
        key = ReceiptTerms.objects.get().movement.key
        ledger.reverse(key_of_original=key, key="u", reason="wrong", happened_at=NOW)
        [one] = queries.suppliers(site, YEAR_AGO, TODAY)
        assert (one.done.on_time.good, one.done.in_full.good, one.done.sound.of) == (0, 0, 0)

    def test_many_suppliers_ask_as_often_as_one(self, site, count_queries):
        def ask():
            queries.suppliers(site, YEAR_AGO, TODAY)

        for n in range(3):
            bring(make_order(site, days=-3), key=f"k{n}", lot=f"L{n}")
            if n == 0:
                one = count_queries(ask)
        assert count_queries(ask) == one


def used(can, quantity, days_ago):
    ledger.issue(
        container_id=can.pk, quantity=D(quantity), key=f"use:{can.pk}:{days_ago}",
        counterpart="other:training", happened_at=NOW - days_ago * DAY,
    )  # fmt: skip


def test_slow_movers_are_what_nobody_used_lately_or_what_lasts_too_long(site):
    came = NOW - 300 * DAY
    quick, idle, much = (
        make_container(make_lot(site, unit_cost=2), holds=100, came=came) for _ in range(3)
    )
    used(quick, 60, 5)
    used(idle, 60, 91)
    used(much, 1, 5)
    found = {one.material: one for one in queries.slow_movers(site, TODAY)}
    assert set(found) == {idle.lot.material, much.lot.material}
    one = found[much.lot.material]
    assert (one.held, one.used, one.cover_days) == (D(99), D(1), 99 * 182)
    assert one.worth == {"EUR": D("198.00")}
    assert found[idle.lot.material].last_used == (NOW - 91 * DAY).date()


def test_worth_by_day_follows_the_ledger_and_keeps_currencies_apart(site):
    pound = make_supplier(currency="GBP")
    first = make_container(make_lot(site, unit_cost=3), holds=10, came=NOW - 400 * DAY)
    make_container(make_lot(site, unit_cost=5, supplier=pound), holds=2, came=NOW - 2 * DAY)
    make_container(make_lot(site), holds=7, came=NOW - DAY)
    used(first, 4, 1)
    days = queries.stock_worth(site, 4, TODAY)
    assert [(one.worth, one.unpriced) for one in days] == [
        ({"EUR": D("30.00")}, 0),
        ({"EUR": D("30.00"), "GBP": D("10.00")}, 0),
        ({"EUR": D("18.00"), "GBP": D("10.00")}, 1),
        ({"EUR": D("18.00"), "GBP": D("10.00")}, 1),
    ]
    assert days[-1].day == TODAY


def test_hardener_out_of_proportion_is_said_with_what_is_coming(site):
    system = make_system(hardener_per_100=D(20))
    make_container(make_lot(site, system.resin), holds=100)
    make_container(make_lot(site, system.hardener), holds=10)
    make_container(make_lot(site, system.hardener, expires_on=date(2026, 11, 24)), holds=10)
    [one] = queries.mix_groups(site, YEAR_AGO, TODAY)
    assert (one.there.verdict, one.there.off_kg) == ("too little hardener", -10.0)
    assert one.bought.verdict == "in proportion"
    make_order(site, make_pack(system.hardener), packs=2)
    [one] = queries.mix_groups(site, YEAR_AGO, TODAY)
    assert one.there.verdict == "in proportion"


def test_page_file_and_rest_say_the_same(site, api, browser_of):
    system = make_system()
    make_container(make_lot(site, system.resin, unit_cost=4), holds=10)
    order = make_order(site, make_pack(supplier=make_supplier(least_life_days=500)), days=-2)
    bring(order)
    wax = make_material(kind="release_agent", use_per_m2=D("0.02"))
    make_tool(site, release_recipe=make_recipe(material=wax), face_m2=D(1))
    buyer, page = api("purchasing"), browser_of("purchasing")
    for table in TABLES:
        rows = buyer.get(f"/api/v1/buyer-figures?figure={table.slug}").data["items"]
        file = page.get(f"/buying/figures/{table.slug}.csv").content.decode("utf-8-sig")
        told = list(csv.DictReader(io.StringIO(file)))[:200]
        assert rows, table.slug
        assert [list(row) for row in rows] == [list(row) for row in told]
        assert [["" if v is None else str(v) for v in r.values()] for r in rows] == [
            list(row.values()) for row in told
        ], table.slug
        shown = page.get(f"/buying/figures/{table.slug}/").content.decode()
        assert table.title in shown
    assert "too little hardener" in page.get("/buying/figures/mixes/").content.decode()
    assert "<polyline" in page.get("/buying/figures/stock-worth/").content.decode()
    part = buyer.get("/api/v1/buyer-figures?figure=stock-worth&months=36&after=360").data
    assert (len(part["items"]), part["next_after"]) == (6, None)
    assert buyer.get("/api/v1/buyer-figures?figure=stock-worth&after=-1").status_code == 400
    assert buyer.get("/api/v1/buyer-figures?figure=no").status_code == 400
    assert buyer.get("/api/v1/buyer-figures").status_code == 400
    assert api("technician").get("/api/v1/buyer-figures?figure=mixes").status_code == 403
    assert browser_of("technician").get("/buying/figures/").status_code == 403
