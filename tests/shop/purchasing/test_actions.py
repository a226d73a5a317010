from datetime import date, timedelta
from decimal import Decimal

import pytest
import time_machine

from shared.errors import Invalid
from shop.errors import KeyReused, NotFound
from shop.ledger import actions as ledger
from shop.ledger.goods_in import Goods, Pack
from shop.ledger.models import Movement
from shop.purchasing import actions, queries
from shop.purchasing.errors import BelowLeastOrder, OrderState, OverDelivery
from shop.purchasing.models import OrderStatus
from tests.factories.purchasing import make_order, make_pack, new_line
from tests.factories.shop import NOW, make_site, make_supplier

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _now():
    with time_machine.travel(NOW, tick=False):
        yield


def goods(line, *quantities, lot="L1"):
    packs = [Pack(Decimal(str(q))) for q in quantities]
    return (line.pk, Goods(line.material, lot, packs, expires_on=date(2027, 12, 1)))


def take(order, *lots, key="receipt-1", **kw):
    return actions.receive(order=order, goods=list(lots), key=key, received_at=NOW, **kw)


def test_an_order_goes_from_draft_to_all_received():
    site = make_site()
    order = make_order(site, packs=2)
    line = order.lines.get()
    confirmed = actions.confirm(
        order=order, reference="AB-7", answers={line.pk: actions.Answer(2, date(2026, 12, 4))}
    )
    assert confirmed.supplier_reference == "AB-7"
    (row,) = queries.due(site.pk)
    assert (row.quantity, row.due_on, row.order_number) == (10, date(2026, 12, 4), order.number)
    take(order, goods(line, 5, 5))
    order.refresh_from_db()
    assert order.status == OrderStatus.RECEIVED
    assert queries.due(site.pk) == ()
    assert actions.close(order=order).status == OrderStatus.CLOSED


def test_a_part_delivery_leaves_the_rest_due_and_its_lot_costs_what_the_line_says():
    order = make_order(make_site(), packs=3)
    line = order.lines.get()
    (received,) = take(order, goods(line, 5))
    order.refresh_from_db()
    assert order.status == OrderStatus.ORDERED
    assert received.lot.unit_cost == Decimal("12.0000")
    assert received.lot.supplier == order.supplier
    (state,) = queries.line_states(order)
    assert (state.received, state.open, state.open_packs) == (5, 10, 2)


def test_the_same_receipt_sent_twice_comes_in_once():
    order = make_order(make_site(), packs=3)
    line = order.lines.get()
    take(order, goods(line, 5))
    take(order, goods(line, 5))
    assert queries.line_states(order)[0].received == 5
    with pytest.raises(KeyReused):
        take(order, goods(line, 4))


def test_an_over_delivery_is_refused_whole_unless_somebody_keeps_it():
    order = make_order(make_site(), packs=1)
    line = order.lines.get()
    with pytest.raises(OverDelivery, match="7 kg would have come in of 5 kg ordered"):
        take(order, goods(line, 5, 2))
    assert Movement.objects.count() == 0
    take(order, goods(line, 5, 2), accept_over=True)
    assert queries.line_states(order)[0].open == 0
    order.refresh_from_db()
    assert order.status == OrderStatus.RECEIVED


def test_a_reversed_receipt_is_due_again():
    site = make_site()
    order = make_order(site, packs=2)
    line = order.lines.get()
    take(order, goods(line, 5), key="r")
    moved = Movement.objects.get(kind="receipt")
    ledger.reverse(key_of_original=moved.key, key="undo", reason="wrong can", happened_at=NOW)
    assert queries.due(site.pk)[0].quantity == 10


def test_goods_of_another_material_or_line_are_refused():
    order = make_order(make_site())
    other = make_order(make_site()).lines.get()
    with pytest.raises(NotFound, match=f"no line {other.pk}"):
        take(order, goods(other, 5))
    wrong = Goods(other.material, "L", [Pack(Decimal(5))], expires_on=date(2027, 1, 1))
    with pytest.raises(Invalid, match="asks for"):
        take(order, (order.lines.get().pk, wrong))


def test_states_are_kept_in_order_with_words():
    order = make_order(make_site(), placed=False)
    with pytest.raises(OrderState, match="is approved, not sent; this needs ordered or confirmed"):
        actions.confirm(order=order, reference="", answers={})
    with pytest.raises(OrderState, match="this needs draft"):
        actions.approve(order=order, by=None)
    placed = actions.place(order=order)
    with pytest.raises(OrderState, match="this needs draft or approved"):
        actions.cancel(order=placed, reason="changed our mind")


def test_an_order_below_the_suppliers_least_is_held_back_until_somebody_insists():
    supplier = make_supplier(least_order=Decimal(150))
    order = make_order(make_site(), make_pack(supplier=supplier), packs=2, placed=False)
    with pytest.raises(BelowLeastOrder, match=r"worth 120.00 EUR; .* below 150.00 EUR"):
        actions.place(order=order)
    assert actions.place(order=order, below_least=True).status == OrderStatus.ORDERED


def test_closing_early_and_cancelling_want_a_reason():
    order = make_order(make_site())
    with pytest.raises(Invalid, match="say why an order is closed"):
        actions.close(order=order)
    assert actions.close(order=order, reason="supplier has none").end_reason == "supplier has none"
    with pytest.raises(Invalid, match="say why it is cancelled"):
        actions.cancel(order=make_order(make_site(), placed=False), reason=" ")


def test_the_same_pack_for_the_same_day_becomes_one_line():
    pack = make_pack()
    order = make_order(make_site(), pack, packs=2, placed=False)
    actions.add_lines(order, [new_line(pack, 3), new_line(pack, 1, days=14)])
    assert sorted(line.packs for line in order.lines.all()) == [1, 5]


def test_confirming_a_line_of_another_order_changes_nothing():
    order, other = make_order(make_site()), make_order(make_site())
    with pytest.raises(Invalid, match="is not a line of"):
        actions.confirm(
            order=order,
            reference="",
            answers={other.lines.get().pk: actions.Answer(1, NOW.date() + timedelta(days=3))},
        )
    order.refresh_from_db()
    assert order.status == OrderStatus.ORDERED


def test_planning_sees_what_was_sent_for_but_not_what_was_only_approved():
    from shop import stores

    site, pack = make_site(), make_pack()
    make_order(site, pack, packs=1, placed=False)
    assert stores.expected_receipts(site.pk, [pack.material_id]) == ()
    make_order(site, pack, packs=2)
    (row,) = stores.expected_receipts(site.pk, [pack.material_id])
    assert row.quantity == 10
    assert row.expected_at.date() == date(2026, 12, 3)  # over at midnight after 2 December, UTC
