import json
from decimal import Decimal

import pytest
from django.core.management import call_command
from django.db import connection

from shared import append_only
from shop.errors import LotHeld
from shop.ledger import actions, purposes
from shop.ledger.audit import differences
from shop.ledger.models import Movement, Reservation
from shop.ledger.reservations import reserve
from shop.lots.models import Container
from shop.tasks import audit_stock
from tests.factories.shop import NOW, make_container

pytestmark = pytest.mark.django_db


@pytest.fixture
def busy():
    """Two containers of one lot with every kind of movement that changes a balance."""
    one = make_container(holds=20)
    two = make_container(one.lot)
    shared = {"happened_at": NOW}
    actions.issue(
        container_id=one.pk, quantity=Decimal(3), key="i", counterpart="batch:1", **shared
    )
    actions.transfer(
        from_container_id=one.pk, to_container_id=two.pk, quantity=Decimal(5), key="t", **shared
    )
    actions.reverse(key_of_original="i", key="r", reason="wrong", **shared)
    reserve(container_id=two.pk, quantity=Decimal(2), purpose="test:1", needed_at=NOW)
    return one, two


@pytest.fixture
def planned(monkeypatch):
    """What a plan says it wants under `test:`."""
    wanted = {"test:1": Decimal(2)}
    monkeypatch.setattr(purposes, "_known", {"test:": lambda: wanted})
    return wanted


def test_all_is_well_after_every_kind_of_movement(busy, planned):
    assert differences() == []


@pytest.fixture
def unguarded():
    append_only.remove(connection, "shop_movement")
    yield
    append_only.install(connection, "shop_movement")


def spoil_reversal(one, two):
    Movement.objects.filter(key="r").update(quantity=2)
    Container.objects.filter(pk=one.pk).update(balance=14)


def spoil_transfer(one, two):
    Movement.objects.filter(key="t:in").update(quantity=4)
    Container.objects.filter(pk=two.pk).update(balance=4)


def spoil_order(one, two):
    Movement.objects.filter(key=f"first:{one.pk}").update(container=two)
    Container.objects.filter(pk=two.pk).update(balance=25)
    Movement.objects.filter(key__in=["i", "r"]).update(container=two)


@pytest.mark.parametrize(
    ("kind", "spoil"),
    [
        ("balance", lambda one, two: Container.objects.filter(pk=one.pk).update(balance=99)),
        ("reserved", lambda one, two: Container.objects.filter(pk=two.pk).update(reserved=1)),
        ("reversal", spoil_reversal),
        ("transfer", spoil_transfer),
        ("below zero", spoil_order),
    ],
)
def test_each_kind_of_difference_is_found(busy, planned, unguarded, kind, spoil):
    spoil(*busy)
    found = differences()
    assert kind in {d.kind for d in found}
    past = "below zero in the past"
    assert all(d.lot_id == busy[0].lot_id for d in found if d.kind != past)


def test_a_reservation_nobody_wants_and_a_want_without_reservation(busy, planned):
    planned.clear()
    planned["test:2"] = Decimal(4)
    words = [(d.where, d.words) for d in differences()]
    assert words == [
        ("test:1", "2 is set aside, and nothing planned wants it"),
        ("test:2", "4 is wanted by the plan, 0 is set aside"),
    ]


def test_the_command_says_so_and_ends_with_1(busy, planned, capsys):
    call_command("audit_stock")
    assert "Stock agrees" in capsys.readouterr().out
    Reservation.objects.all().delete()
    with pytest.raises(SystemExit) as ended:
        call_command("audit_stock", json=True)
    assert ended.value.code == 1
    kinds = [d["kind"] for d in json.loads(capsys.readouterr().out)["differences"]]
    assert kinds == ["reserved", "purpose"]


def test_the_audit_asks_as_often_for_one_container_as_for_many(
    busy, planned, django_assert_num_queries
):
    for _ in range(5):
        make_container(holds=1)
    with django_assert_num_queries(6):
        differences()


def test_the_nightly_audit_stops_issues_from_a_lot_that_differs(busy, planned, caplog):
    one, _ = busy
    sound = make_container(holds=5)
    Container.objects.filter(pk=one.pk).update(balance=99)
    assert audit_stock() == 1
    assert "stock differs: balance" in caplog.text
    with pytest.raises(LotHeld, match="the nightly audit found a difference"):
        actions.issue(
            container_id=one.pk, quantity=Decimal(1), key="x", counterpart="batch:1",
            happened_at=NOW,
        )  # fmt: skip
    sound.lot.refresh_from_db()
    assert sound.lot.status == "released"


def test_the_audit_is_exact_where_binary_sums_drift(planned):
    """A hundred tenths are not ten in binary: sums are rounded to the ledger's step first."""
    can = make_container()
    for n in range(100):
        actions.receive(
            container_id=can.pk, quantity=Decimal("0.1"), key=f"r{n}", counterpart="supplier:1",
            happened_at=NOW,
        )  # fmt: skip
    for n in range(33):
        actions.issue(
            container_id=can.pk, quantity=Decimal("0.3"), key=f"i{n}", counterpart="batch:1",
            happened_at=NOW,
        )  # fmt: skip
    planned.clear()
    assert differences() == []
    last = actions.issue(
        container_id=can.pk, quantity=Decimal("0.1"), key="last", counterpart="batch:1",
        happened_at=NOW,
    )  # fmt: skip
    assert last.balance_after == 0
    assert differences() == []
