from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from shared.errors import Invalid
from shop.errors import (
    AlreadyReversed,
    KeyReused,
    LotExpired,
    LotHeld,
    LotNotUsable,
    LotQuarantined,
    NotEnoughStock,
    NotFound,
    NotReversible,
)
from shop.ledger import actions
from shop.ledger.models import Movement, MovementKind, Reservation
from shop.ledger.reservations import free_reservations, reserve
from shop.lots.models import Container
from tests.factories.shop import NOW, make_container, make_lot, make_material, make_site

pytestmark = pytest.mark.django_db


def issue(container, quantity, key="i1", **values):
    usual = {"counterpart": "batch:7", "happened_at": NOW}
    return actions.issue(
        container_id=container.pk, quantity=Decimal(quantity), key=key, **usual | values
    )


def state(container):
    container.refresh_from_db()
    return container.balance, container.reserved


def test_an_issue_takes_from_the_balance_and_opens_the_container():
    container = make_container(holds=25)
    posted = issue(container, "4.2")
    assert state(container) == (Decimal("20.8"), 0)
    assert container.opened_at == NOW
    assert (posted.quantity, posted.balance_after) == (Decimal("-4.2"), Decimal("20.8"))
    issue(container, 1, key="i2", happened_at=NOW + timedelta(days=1))
    container.refresh_from_db()
    assert container.opened_at == NOW


def test_a_repeat_returns_the_first_movement_and_moves_nothing():
    container = make_container(holds=25)
    first = issue(container, 4)
    issue(container, 2, key="i2")
    assert issue(container, 4) == first
    assert state(container) == (Decimal(19), 0)


@pytest.mark.parametrize("change", [{"quantity": 5}, {"counterpart": "batch:8"}])
def test_a_key_with_other_values_is_refused(change):
    container = make_container(holds=25)
    issue(container, 4)
    with pytest.raises(KeyReused, match="use a new key"):
        issue(container, change.pop("quantity", 4), **change)
    assert state(container) == (Decimal(21), 0)


def test_more_than_there_is_is_refused_with_the_figures():
    container = make_container(make_lot(material=make_material(name="Blue resin")), holds=3)
    with pytest.raises(NotEnoughStock) as refused:
        issue(container, "3.0001")
    assert "Blue resin" in refused.value.message
    assert "3.0001 kg asked, it holds 3 kg" in refused.value.message
    assert refused.value.status == 409
    assert state(container) == (Decimal(3), 0)
    assert Movement.objects.count() == 1


@pytest.mark.parametrize(
    ("values", "error", "words"),
    [
        ({"status": "quarantine"}, LotQuarantined, "is in quarantine"),
        ({"status": "held", "status_reason": "cloudy"}, LotHeld, "is held \\(cloudy\\)"),
        ({"status": "finished"}, LotNotUsable, "is finished"),
        ({"expires_on": date(2026, 11, 24)}, LotExpired, "expired on 2026-11-24"),
    ],
)
def test_a_lot_that_may_not_be_used_is_refused(values, error, words):
    container = make_container(make_lot(**values), holds=5)
    with pytest.raises(error, match=words):
        issue(container, 1)
    assert state(container) == (Decimal(5), 0)


def test_the_last_day_counts_to_its_end_at_the_site():
    # Auckland is 13 h ahead in November: its 25th ends at 11:00 UTC.
    site = make_site(time_zone="Pacific/Auckland")
    container = make_container(make_lot(site, expires_on=date(2026, 11, 25)), holds=5)
    issue(container, 1, happened_at=datetime(2026, 11, 25, 10, 59, tzinfo=UTC))
    with pytest.raises(LotExpired):
        issue(container, 1, key="i2", happened_at=datetime(2026, 11, 25, 11, 0, tzinfo=UTC))


def test_open_life_ends_before_the_label_does():
    lot = make_lot(material=make_material(open_life_days=2))
    container = make_container(lot, holds=5)
    issue(container, 1)
    issue(container, 1, key="i2", happened_at=NOW + timedelta(days=2))
    with pytest.raises(LotExpired, match="open life ended on 2026-11-27"):
        issue(container, 1, key="i3", happened_at=NOW + timedelta(days=3))


@pytest.mark.parametrize("quantity", ["0", "-1", "0.00001", "NaN", "Infinity", "1e11"])
def test_a_quantity_that_makes_no_sense_is_refused(quantity):
    container = make_container(holds=5)
    with pytest.raises(Invalid, match="quantity is"):
        issue(container, quantity)
    assert state(container) == (Decimal(5), 0)


def test_an_issue_uses_up_its_own_reservation_first():
    container = make_container(holds=10)
    reserve(container_id=container.pk, quantity=Decimal(6), purpose="batch:7", needed_at=NOW)
    reserve(container_id=container.pk, quantity=Decimal(4), purpose="batch:8", needed_at=NOW)
    with pytest.raises(NotEnoughStock, match=r"10 kg is reserved\. At most 0 kg"):
        issue(container, 1)
    issue(container, 5, purpose="batch:7")
    assert state(container) == (Decimal(5), Decimal(5))
    issue(container, 1, key="i2", purpose="batch:7")
    assert state(container) == (Decimal(4), Decimal(4))
    assert [r.purpose for r in Reservation.objects.all()] == ["batch:8"]


def test_weighing_more_than_reserved_shrinks_what_is_needed_last():
    container = make_container(holds=10)
    for day, purpose in enumerate(("batch:7", "batch:8", "batch:9")):
        needed_at = NOW + timedelta(days=day)
        reserve(
            container_id=container.pk, quantity=Decimal(3), purpose=purpose, needed_at=needed_at
        )
    issue(container, 5, purpose="batch:7")
    assert state(container) == (Decimal(5), Decimal(5))
    left = dict(Reservation.objects.values_list("purpose", "quantity"))
    assert left == {"batch:8": Decimal(3), "batch:9": Decimal(2)}


def test_a_reservation_needs_free_stock_that_is_usable_on_its_day():
    container = make_container(make_lot(expires_on=date(2026, 12, 1)), holds=10)
    reserve(container_id=container.pk, quantity=Decimal(6), purpose="a", needed_at=NOW)
    with pytest.raises(NotEnoughStock):
        reserve(container_id=container.pk, quantity=Decimal(5), purpose="b", needed_at=NOW)
    late = NOW + timedelta(days=7)
    with pytest.raises(LotExpired):
        reserve(container_id=container.pk, quantity=Decimal(1), purpose="b", needed_at=late)
    reserve(container_id=container.pk, quantity=Decimal(8), purpose="a", needed_at=NOW)
    assert state(container) == (Decimal(10), Decimal(8))


def test_freeing_by_name_and_by_beginning():
    container = make_container(holds=10)
    for purpose in ("batch:7:resin", "batch:7:hardener", "batch:70:resin", "coat:1"):
        reserve(container_id=container.pk, quantity=Decimal(1), purpose=purpose, needed_at=NOW)
    assert free_reservations(prefix="batch:7:") == 2
    assert free_reservations(purposes=["coat:1", "coat:1", "nothing"]) == 1
    assert free_reservations() == 0
    assert state(container) == (Decimal(10), Decimal(1))


def test_a_reversal_names_its_original_and_happens_once():
    container = make_container(holds=10)
    issue(container, 4)
    later = NOW + timedelta(hours=1)
    undo = {"key_of_original": "i1", "reason": "wrong can", "happened_at": later}
    first = actions.reverse(key="r1", **undo)
    assert state(container) == (Decimal(10), 0)
    assert actions.reverse(key="r1", **undo) == first
    with pytest.raises(AlreadyReversed):
        actions.reverse(key="r2", **undo)
    with pytest.raises(NotReversible, match="itself a reversal"):
        actions.reverse(key="r3", **undo | {"key_of_original": "r1"})
    with pytest.raises(NotFound):
        actions.reverse(key="r4", **undo | {"key_of_original": "none"})
    assert state(container) == (Decimal(10), 0)


def test_a_receipt_that_has_been_used_cannot_be_reversed():
    container = make_container(holds=10)
    issue(container, 4)
    with pytest.raises(NotEnoughStock):
        actions.reverse(
            key_of_original=f"first:{container.pk}", key="r1", reason="x", happened_at=NOW
        )


def test_a_transfer_moves_between_containers_of_one_lot_and_is_undone_whole():
    source = make_container(holds=10)
    issue(source, 1)
    target = make_container(source.lot)
    move = {"from_container_id": source.pk, "to_container_id": target.pk, "happened_at": NOW}
    actions.transfer(quantity=Decimal(4), key="t", **move)
    assert (state(source)[0], state(target)[0]) == (Decimal(5), Decimal(4))
    assert target.opened_at == NOW
    actions.reverse(key_of_original="t", key="tr", reason="x", happened_at=NOW)
    assert (state(source)[0], state(target)[0]) == (Decimal(9), 0)
    other = make_container()
    with pytest.raises(Invalid, match="same lot"):
        actions.transfer(quantity=Decimal(1), key="t2", **move | {"to_container_id": other.pk})


def test_a_count_books_the_difference_and_shrinks_promises():
    container = make_container(holds=10)
    reserve(container_id=container.pk, quantity=Decimal(9), purpose="a", needed_at=NOW)
    count = {"container_id": container.pk, "key": "c1", "happened_at": NOW}
    posted = actions.adjust(counted=Decimal(8), expected=Decimal(10), **count)
    assert posted.quantity == -2
    assert state(container) == (Decimal(8), Decimal(8))
    assert actions.adjust(counted=Decimal(8), expected=Decimal(8), **count | {"key": "c2"}) is None


def test_scrap_goes_even_if_promised_and_a_sample_does_not():
    container = make_container(make_lot(status="held"), holds=5)
    Container.objects.filter(pk=container.pk).update(reserved=4)
    Reservation.objects.create(
        container=container, purpose="a", quantity=4, needed_at=NOW, created_at=NOW
    )
    out = {"container_id": container.pk, "counterpart": "waste", "happened_at": NOW}
    with pytest.raises(NotEnoughStock):
        actions.take_out(kind=MovementKind.SAMPLE, quantity=Decimal(2), key="s", **out)
    actions.take_out(kind=MovementKind.SCRAP, quantity=Decimal(2), key="w", **out)
    assert state(container) == (Decimal(3), Decimal(3))


@pytest.mark.parametrize(
    "spoil",
    [
        pytest.param({"balance": -1}, id="balance below zero"),
        pytest.param({"reserved": 6}, id="more reserved than there is"),
    ],
)
def test_the_database_itself_holds_the_rules_of_balances(spoil):
    container = make_container(holds=5)
    with pytest.raises(IntegrityError), transaction.atomic():
        Container.objects.filter(pk=container.pk).update(**spoil)


def test_the_ledger_cannot_be_edited():
    make_container(holds=5)
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        Movement.objects.update(quantity=6)
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        Movement.objects.all().delete()


def test_nothing_happens_to_a_container_before_it_came_in():
    container = make_container(holds=10)
    came = Movement.objects.get(container=container).happened_at
    with pytest.raises(Invalid, match="came in"):
        issue(container, 1, happened_at=came - timedelta(hours=1))
    with pytest.raises(Invalid, match="came in"):
        actions.take_out(
            kind=MovementKind.SCRAP, container_id=container.pk, quantity=Decimal(1), key="s",
            counterpart="waste", happened_at=came.replace(year=1),
        )  # fmt: skip
    assert state(container) == (Decimal(10), 0)


def test_a_reversal_is_not_dated_before_the_movement_it_reverses():
    container = make_container(holds=10)
    issue(container, 4)
    with pytest.raises(Invalid, match="before the movement that it reverses"):
        actions.reverse(
            key_of_original="i1", key="r", reason="wrong can",
            happened_at=NOW - timedelta(hours=1),
        )  # fmt: skip


@pytest.mark.parametrize(
    ("expires", "open_life", "hours", "taken"),
    [
        (NOW.date(), None, 2, True),
        (NOW.date(), None, 20, False),
        (None, 1, 20, True),
        (None, 1, 40, False),
    ],
)
def test_what_is_poured_past_its_date_is_refused_when_it_is_weighed(
    site, expires, open_life, hours, taken
):
    material = make_material(open_life_days=open_life)
    can = make_container(make_lot(site, material, expires_on=expires), holds=5)
    issued = {
        "container_id": can.pk, "quantity": Decimal(1), "key": "i", "counterpart": "batch:1",
        "happened_at": NOW, "used_by": NOW + timedelta(hours=hours),
    }  # fmt: skip
    if taken:
        assert actions.issue(**issued).balance_after == 4
    else:
        with pytest.raises(LotExpired):
            actions.issue(**issued)
