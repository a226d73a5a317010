"""A write that is broken off at any statement leaves everything as it was."""

from decimal import Decimal

import pytest
from django.db import OperationalError, connection

from shop.ledger import actions
from shop.ledger.goods_in import Goods, Pack, receive_goods
from shop.ledger.models import Movement, Reservation
from shop.ledger.reservations import reserve
from shop.lots.models import Container, Lot
from tests.factories.shop import NOW, make_container, make_lot, make_material, make_site

pytestmark = pytest.mark.django_db


class Broken(OperationalError):
    """What a database says that went away."""


class BreaksAt:
    """Lets so many statements that write through, and breaks the next."""

    def __init__(self, n):
        self.left = n

    def __call__(self, execute, sql, params, many, context):
        if sql.split(None, 1)[0] in ("INSERT", "UPDATE", "DELETE"):
            if self.left == 0:
                raise Broken("broken off for a test")
            self.left -= 1
        return execute(sql, params, many, context)


def whole():
    """Return everything the ledger keeps, to compare before and after."""
    return [
        list(model.objects.order_by("pk").values())
        for model in (Lot, Container, Movement, Reservation)
    ]


def issue_of_a_reserved_batch():
    can = make_container(holds=10)
    for purpose, quantity in (("batch:1", 4), ("batch:2", 5)):
        reserve(container_id=can.pk, quantity=Decimal(quantity), purpose=purpose, needed_at=NOW)
    return lambda: actions.issue(
        container_id=can.pk, quantity=Decimal(6), purpose="batch:1", key="i",
        counterpart="batch:1", happened_at=NOW,
    )  # fmt: skip


def transfer_between_two_cans():
    one = make_container(holds=10)
    two = make_container(one.lot)
    return lambda: actions.transfer(
        from_container_id=one.pk, to_container_id=two.pk, quantity=Decimal(3), key="t",
        happened_at=NOW,
    )  # fmt: skip


def reversal_of_a_transfer():
    transfer_between_two_cans()()
    return lambda: actions.reverse(key_of_original="t", key="r", reason="x", happened_at=NOW)


def delivery_of_two_lots():
    site = make_site()
    goods = [
        Goods(make_material(), code, [Pack(Decimal(5))] * 2, expires_on=make_lot().expires_on)
        for code in ("A", "B")
    ]
    return lambda: receive_goods(site=site, goods=goods, key="d", received_at=NOW)


@pytest.mark.parametrize(
    "prepare",
    [
        issue_of_a_reserved_batch,
        transfer_between_two_cans,
        reversal_of_a_transfer,
        delivery_of_two_lots,
    ],
)
def test_broken_off_at_any_statement_nothing_is_left_behind(prepare):
    write = prepare()
    before = whole()
    for n in range(100):
        try:
            with connection.execute_wrapper(BreaksAt(n)):
                write()
        except Broken:
            assert whole() == before, f"broken off at statement {n + 1}"
        else:
            break
    assert n >= 4, "the write has fewer statements than it must have"
    assert whole() != before
