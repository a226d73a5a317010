"""Of the maker's date, the shelf life and the life once opened the stricter holds, each way."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from shared import clock
from shop import stores
from shop.ledger.goods_in import Goods, Pack, receive_goods
from shop.lots.queries import clocks, with_lots
from tests.factories.shop import NOW, make_container, make_lot, make_material, make_site

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]

TODAY = date(2026, 11, 25)
OPENED = datetime(2026, 11, 20, 12, tzinfo=UTC)


def until_of(container):
    """Return until when pages, gate and planner let a can be used, and which clock it is."""
    found = clocks(with_lots().get(pk=container.pk))
    lot = container.lot
    (told,) = stores.containers(lot.site_id, [lot.material_id])
    assert told.usable_until == clock.day_end(found.until, lot.site), "as the planner is told"
    for day, usable in ((found.until, True), (found.until + timedelta(days=1), False)):
        rows = stores.containers(lot.site_id, [lot.material_id], usable_on=day)
        assert bool(rows) == usable
    return found.until, found.binding


@pytest.mark.parametrize(("open_days", "label", "until", "binding"), [
    (30, date(2027, 6, 30), date(2026, 12, 20), "open life"),
    (30, date(2026, 12, 10), date(2026, 12, 10), "label"),
    (30, date(2026, 12, 20), date(2026, 12, 20), None),
    (None, date(2027, 6, 30), date(2027, 6, 30), "label"),
])  # fmt: skip
def test_open_life_of_a_can_and_the_date_on_it(open_days, label, until, binding):
    lot = make_lot(make_site(), make_material(open_life_days=open_days), expires_on=label)
    found = until_of(make_container(lot, holds=5, opened_at=OPENED))
    assert found[0] == until
    assert binding in (None, found[1])


def test_a_sealed_can_has_no_open_life_yet():
    lot = make_lot(make_site(), make_material(open_life_days=1), expires_on=date(2027, 6, 30))
    assert until_of(make_container(lot, holds=5)) == (date(2027, 6, 30), "label")


@pytest.mark.parametrize(("open_days", "until", "binding"), [
    (500, date(2027, 12, 31), "retest"), (60, date(2027, 1, 19), "open life"),
])  # fmt: skip
def test_a_retest_makes_no_open_can_keep_longer(open_days, until, binding):
    lot = make_lot(
        make_site(), make_material(open_life_days=open_days), expires_on=date(2027, 12, 31),
        retested_on=TODAY,
    )  # fmt: skip
    assert until_of(make_container(lot, holds=5, opened_at=OPENED)) == (until, binding)


@pytest.mark.parametrize(("months", "label", "until"), [
    (12, date(2027, 6, 30), date(2027, 6, 30)),
    (12, date(2028, 6, 30), date(2027, 11, 1)),
    (12, None, date(2027, 11, 1)),
    (None, date(2028, 6, 30), date(2028, 6, 30)),
])  # fmt: skip
def test_shelf_life_of_the_data_sheet_and_the_date_on_the_label(months, label, until):
    material = make_material(shelf_life_months=months)
    goods = Goods(
        material, "LOT-7A", [Pack(Decimal(5))], expires_on=label, made_on=date(2026, 11, 1)
    )
    (received,) = receive_goods(site=make_site(), goods=[goods], key="d", received_at=NOW)
    assert until_of(received.containers[0])[0] == until
