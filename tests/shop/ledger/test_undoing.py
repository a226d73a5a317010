"""What an undone issue gives back, and what the audit sees of the past."""

from datetime import timedelta
from decimal import Decimal

import pytest

from shop.errors import KeyReused
from shop.ledger import actions, purposes
from shop.ledger.audit import differences
from shop.ledger.booking import split
from shop.ledger.models import Reservation
from shop.ledger.reservations import reserve
from tests.factories.shop import NOW, make_container

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture
def can():
    return make_container(holds=10)


def issue(can, quantity, key, at=NOW, purpose=""):
    actions.issue(
        container_id=can.pk, quantity=Decimal(quantity), key=key, counterpart="batch:1",
        happened_at=at, purpose=purpose,
    )  # fmt: skip


def undo(key, at=NOW + HOUR):
    actions.reverse(key_of_original=key, key=f"undo {key}", reason="wrong", happened_at=at)


def held(purpose="use:1"):
    return [row.quantity for row in Reservation.objects.filter(purpose=purpose)]


def set_aside(can, quantity, purpose="use:1"):
    reserve(container_id=can.pk, quantity=Decimal(quantity), purpose=purpose, needed_at=NOW + HOUR)


@pytest.mark.parametrize(("asked", "taken"), [(4, 4), (4, 3), (4, 6)])
def test_undoing_an_issue_sets_aside_again_what_it_used(can, asked, taken):
    set_aside(can, asked)
    issue(can, taken, "i", purpose="use:1")
    undo("i")
    can.refresh_from_db()
    assert (can.balance, can.reserved, held()) == (10, asked, [Decimal(asked)])
    assert Reservation.objects.get().needed_at == NOW + HOUR
    assert [d for d in differences() if d.kind != "purpose"] == []


def test_no_more_is_set_aside_again_than_is_free_by_then(can):
    set_aside(can, 4)
    issue(can, 4, "i", purpose="use:1")
    set_aside(can, 6, "use:2")
    issue(can, 1, "j", purpose="use:2")
    undo("i")
    assert (held(), held("use:2")) == ([Decimal(4)], [Decimal(5)])


def test_nothing_is_set_aside_again_for_what_is_planned_no_more(can, monkeypatch):
    wanted = {"plan:1": Decimal(3)}
    monkeypatch.setattr(purposes, "_known", {"plan:": lambda: wanted})
    for n in (1, 2):
        set_aside(can, 3, f"plan:{n}")
        issue(can, 3, f"i{n}", purpose=f"plan:{n}")
    for n in (1, 2):
        undo(f"i{n}")
    assert (held("plan:1"), held("plan:2")) == ([Decimal(3)], [])
    assert differences() == []


def test_a_use_dated_before_there_was_enough_is_named_by_the_audit(can):
    issue(can, 8, "monday", NOW)
    actions.receive(
        container_id=can.pk, quantity=Decimal(10), key="tuesday", counterpart="supplier:1",
        happened_at=NOW + 24 * HOUR,
    )  # fmt: skip
    issue(can, 5, "late entry", NOW - HOUR)
    found = [d for d in differences() if d.kind == "below zero in the past"]
    assert [d.lot_id for d in found] == [None]
    assert "movement monday took it to -3" in found[0].words


def test_a_mistake_put_right_is_no_dip_in_the_past(can):
    issue(can, 8, "wrong", NOW)
    undo("wrong", NOW + 5 * HOUR)
    issue(can, 7, "right", NOW)
    assert differences() == []


def test_a_split_repeated_returns_the_can_of_the_first_time(can, frozen):
    new = split(container=can, quantity=Decimal(2), key="s", by=None)
    assert split(container=can, quantity=Decimal(2), key="s", by=None).pk == new.pk
    can.refresh_from_db()
    assert can.balance == 8
    with pytest.raises(KeyReused):
        split(container=can, quantity=Decimal(3), key="s", by=None)
