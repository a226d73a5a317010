from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest
import time_machine

from shop.ledger.reservations import reserve
from shop.lots.models import LotStatus
from shop.outlook import queries
from tests.factories.purchasing import make_need, make_order, make_pack
from tests.factories.shop import NOW, make_container, make_lot, make_material, make_site

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _now():
    with time_machine.travel(NOW, tick=False):
        yield


def stocked(site, material, holds, **lot):
    return make_container(make_lot(site, material, **lot), holds)


def only(site, **kw):
    (row,) = queries.rows(site, **kw)
    return row


def test_a_pour_that_goes_short_is_named_with_the_last_day_to_order():
    site, pack = make_site(), make_pack()
    stocked(site, pack.material, 6)
    make_need(site, pack.material, 10, 4, "P1")
    make_need(site, pack.material, 14, 5, "P2")
    row = only(site)
    (short,) = row.outlook.short_pours
    assert (short.pour, short.quantity, row.first_short_on) == ("P2", 3, date(2026, 12, 9))
    assert row.last_order_on == date(2026, 12, 2)  # seven days of lead time
    assert row.state == "short"


def test_quarantined_and_expired_stock_is_told_but_not_counted():
    site, material = make_site(), make_material()
    stocked(site, material, 3, status=LotStatus.QUARANTINE)
    stocked(site, material, 2, expires_on=date(2026, 11, 24))
    stocked(site, material, 4)
    row = only(site)
    assert (row.outlook.opening, row.not_released, row.outlook.already_expired) == (4, 3, 2)


def test_an_opened_container_has_its_own_clock():
    site, material = make_site(), make_material(open_life_days=5)
    can = stocked(site, material, 4)
    can.opened_at = NOW - timedelta(days=2)
    can.save()
    row = only(site)
    assert row.outlook.expired[3] == 4
    assert row.outlook.at_risk[0].usable_until == date(2026, 11, 28)


def test_reservations_hold_their_stock_for_their_batch():
    site, material = make_site(), make_material()
    can = stocked(site, material, 5)
    reserve(
        container_id=can.pk, quantity=Decimal(4), purpose="batch:7:1",
        needed_at=NOW + timedelta(days=3),
    )  # fmt: skip
    make_need(site, material, 1, 2, "P1")
    row = only(site)
    assert row.outlook.reserved[3] == 4
    assert [(s.pour, s.quantity) for s in row.outlook.short_pours] == [("P1", 1)]


def test_goods_on_order_arrive_on_their_day():
    site, pack = make_site(), make_pack()
    make_order(site, pack, packs=2, days=5)
    make_need(site, pack.material, 6, 8, "P1")
    row = only(site)
    assert row.outlook.receipts[5] == 10
    assert row.first_short_on is None


def test_a_need_late_in_the_evening_counts_on_the_day_of_the_site():
    site, material = make_site(time_zone="America/Halifax"), make_material()
    need = make_need(site, material, 0, 1)
    need.needed_at = datetime.fromisoformat("2026-11-28T02:30:00+00:00")
    need.save()
    row = only(site)
    assert row.first_short_on == date(2026, 11, 27)


def test_one_material_shows_its_lots_at_risk_and_what_could_use_them():
    site, material = make_site(), make_material()
    stocked(site, material, 2, code="NEAR", expires_on=date(2026, 11, 30))
    stocked(site, material, 9, code="FAR", expires_on=date(2027, 11, 30))
    make_need(site, material, 9, 4, "P9")
    row = only(site, material_ids=[material.pk])
    (risk,) = row.outlook.at_risk
    assert (risk.code, risk.quantity, risk.rescues[0].pour) == ("NEAR", 2, "P9")


def test_stock_of_another_site_is_not_counted():
    site, other, material = make_site(), make_site(), make_material()
    stocked(other, material, 9)
    make_need(site, material, 2, 1)
    assert only(site).first_short_on == date(2026, 11, 27)


def test_the_number_of_queries_does_not_grow_with_the_stock(django_assert_num_queries):
    site = make_site()

    def fill():
        for _ in range(5):
            pack = make_pack()
            for n in range(4):
                can = stocked(site, pack.material, 5, expires_on=date(2027, 1, 1 + n))
                if n == 0:
                    can.opened_at = NOW
                    can.save()
            make_need(site, pack.material, 4, 30)
            make_order(site, pack)

    fill()
    with django_assert_num_queries(11):
        assert len(queries.rows(site)) == 5
    fill()
    with django_assert_num_queries(11):
        assert len(queries.rows(site)) == 10
