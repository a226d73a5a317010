from datetime import date, timedelta

import pytest

from shop.core.buying import (
    SAFETY_STOCK,
    Need,
    Offer,
    Terms,
    Wanted,
    propose,
    propose_together,
)
from shop.core.buying_plan import NoPlan
from shop.core.packs import Pack
from shop.core.supplier_calendar import SupplierCalendar

TODAY = date(2026, 11, 25)  # a Wednesday
CAN = Pack("5 kg can", 5.0, ((1, 60.0),))
DRUM = Pack("25 kg drum", 25.0, ((1, 250.0),))


def offer(**changes):
    return Offer(
        **{
            "supplier": "Supplier A",
            "packs": (CAN, DRUM),
            "lead_days": 7,
            "order_cost": 20.0,
            "calendar": SupplierCalendar(frozenset({6, 7})),
            **changes,
        }
    )


def need(pour, days, quantity):
    return Need(TODAY + timedelta(days=days), quantity, pour)


def look(needs, terms=None, **changes):
    return propose("Resin R", "kg", needs, offer(**changes), terms or Terms(TODAY))


def test_nothing_is_proposed_where_nothing_is_short():
    assert look([]).orders == ()


def test_several_pours_share_one_order_and_the_sentence_gives_its_figures():
    found = look([need("P1", 12, 3.0), need("P2", 13, 4.0), need("P3", 14, 2.5)])
    (order,) = found.orders
    assert order.packs == (("5 kg can", 2),)
    assert order.covers == (("P1", 3.0), ("P2", 4.0), ("P3", 2.5))
    assert order.left_over == 0.5
    # needed on Monday 7 December, seven days' delivery: order on Monday 30 November
    assert (order.order_on, order.arrives_on) == (date(2026, 11, 30), date(2026, 12, 7))
    assert order.sentence == (
        "Order 2 × 5 kg can of Resin R (10 kg) from Supplier A by 30 Nov 2026; it arrives on "
        "7 Dec 2026 and covers 9.5 kg for P1; P2; P3 until 9 Dec 2026. 0.5 kg stay over."
    )
    assert order.money_sentence == "Goods 120.00 EUR."
    assert found.saved == pytest.approx(20.0, abs=0.5)  # one order less, a little more held


def test_a_need_inside_the_lead_time_is_bought_at_once_and_said_to_be_late():
    (order,) = look([need("P1", 3, 4.0)]).orders
    assert (order.order_on, order.arrives_on) == (TODAY, date(2026, 12, 2))
    assert order.late_for == ("P1",)
    assert "too late for P1" in order.sentence


def test_an_unreliable_supplier_gets_days_in_hand():
    (order,) = look([need("P1", 21, 4.0)], Terms(TODAY, safety_z=1.645), lead_sd_days=2.0).orders
    # 1.645 x 2 = 3.29, so 4 days before Wednesday 16 December: Saturday, so Friday 11 December
    assert order.arrives_on == date(2026, 12, 11)
    assert order.sentence.endswith(
        "It comes 5 days before the first need, 4 of them because the 7 days of delivery vary "
        "(standard deviation 2 d)."
    )


def test_nothing_is_bought_so_early_that_it_expires_before_its_pour():
    terms = Terms(TODAY, shelf_days=30)
    found = look([need("P1", 10, 4.0), need("P2", 60, 5.0)], terms, order_cost=500.0)
    assert [o.packs for o in found.orders] == [(("5 kg can", 1),)] * 2
    for order in found.orders:
        assert order.usable_until == order.arrives_on + timedelta(days=30)
    # The can for P1 has 1 kg over. It expires, and no smaller pack could have avoided that.
    assert found.wasted == pytest.approx(1.0)
    assert found.proven


def test_safety_stock_is_bought_once_and_late_for_nobody():
    (order,) = look([Need(TODAY, 5.0, SAFETY_STOCK), need("P1", 14, 5.0)]).orders
    assert order.quantity == 10.0
    assert order.late_for == ()


def test_a_closed_supplier_delivers_before_it_closes():
    closed = frozenset(date(2026, 12, 24) + timedelta(days=n) for n in range(12))
    calendar = SupplierCalendar(frozenset({6, 7}), closed)
    (order,) = look([need("P1", 40, 4.0)], calendar=calendar).orders
    # needed on Monday 4 January, the supplier is closed from 24 December to 4 January
    assert order.arrives_on == date(2026, 12, 23)
    assert order.order_on == date(2026, 12, 16)


def test_days_in_hand_give_way_to_a_short_shelf_life_and_closed_days():
    terms = Terms(TODAY, shelf_days=30, safety_z=1.645)
    for days in range(40, 60):
        (order,) = look([need("P1", days, 4.0)], terms, lead_sd_days=20.0).orders
        assert order.arrives_on.isoweekday() < 6
        assert order.usable_until >= TODAY + timedelta(days=days)


def test_a_supplier_closed_longer_than_goods_keep_is_named_as_the_reason():
    closed = frozenset(date(2026, 12, 20) + timedelta(days=n) for n in range(20))
    terms = Terms(TODAY, shelf_days=5)
    with pytest.raises(NoPlan, match="P1 on 3 Jan 2027 cannot be served: goods keep 5 days and"):
        look([need("P1", 39, 4.0)], terms, calendar=SupplierCalendar(frozenset(), closed))


def test_a_store_without_room_is_named_as_the_reason():
    room = tuple((TODAY + timedelta(days=n), 20.0) for n in range(60))
    with pytest.raises(NoPlan, match="the store has room for 20 kg at most"):
        look([need("P1", 20, 22.0)], Terms(TODAY, room=room))
    (order,) = look([need("P1", 20, 19.0)], Terms(TODAY, room=room), packs=(CAN,)).orders
    assert order.quantity == 20.0


def test_the_least_value_of_an_order_is_reached():
    (order,) = look([need("P1", 20, 4.0)], least_value=500.0).orders
    assert order.goods_cost == 500.0  # two drums; nine cans cost 540


def test_materials_of_one_supplier_share_freight_and_least_value():
    other = offer(packs=(Pack("1 kg tin", 1.0, ((1, 30.0),)),), freight=40.0, least_value=150.0)
    first = offer(freight=40.0, least_value=150.0)
    wanted = [
        Wanted("Resin R", "kg", (need("P1", 20, 9.0),), first, Terms(TODAY)),
        Wanted("Wax W", "kg", (need("P2", 23, 1.0),), other, Terms(TODAY)),
    ]
    resin, wax = propose_together(wanted)
    assert resin.orders[0].arrives_on == wax.orders[0].arrives_on
    assert (resin.orders[0].goods_cost, wax.orders[0].goods_cost) == (120.0, 30.0)
    alone = [propose(w.material, w.unit, w.needs, w.offer, w.terms).cost for w in wanted]
    assert resin.cost < sum(alone) - 60
    assert resin.proven
