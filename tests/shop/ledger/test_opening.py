"""Nothing moves the end of an open life back: not a split, not a fill-up, not a late entry."""

from datetime import timedelta
from decimal import Decimal

import pytest

from shop.ledger import actions
from shop.ledger.booking import split
from shop.ledger.models import MovementKind
from shop.lots.actions import open_container
from shop.lots.queries import clocks
from tests.factories.shop import NOW, make_container, make_lot, make_material

pytestmark = pytest.mark.django_db
OPEN_LIFE = 30


@pytest.fixture
def lot(site):
    return make_lot(site, make_material(open_life_days=OPEN_LIFE))


def can(lot, days_ago=None, holds=10):
    """Return a can that was opened so many days ago; None for a sealed one."""
    made = make_container(lot, holds=holds)
    if days_ago is not None:
        made = open_container(made.pk, at=NOW - timedelta(days=days_ago))
    return made


def fill(source, target, at=NOW, key="t"):
    actions.transfer(
        from_container_id=source.pk, to_container_id=target.pk, quantity=Decimal(2), key=key,
        happened_at=at,
    )  # fmt: skip


def ends(container):
    container.refresh_from_db()
    return clocks(container).until


@pytest.mark.parametrize(
    ("source", "target", "oldest"), [(26, 2, 26), (2, 26, 26), (26, None, 26), (None, 26, 26)]
)
def test_a_can_filled_up_is_as_old_as_the_oldest_of_what_is_in_it(lot, source, target, oldest):
    one, two = can(lot, source), can(lot, target)
    fill(one, two)
    assert ends(two) == (NOW - timedelta(days=oldest - OPEN_LIFE)).date()


def test_a_first_use_written_down_late_moves_the_end_forward_everywhere(lot):
    first = can(lot, 5)
    second, third = can(lot), can(lot)
    fill(first, second, NOW - timedelta(days=4), "a")
    fill(second, third, NOW - timedelta(days=3), "b")
    untouched = can(lot, 1)
    at = NOW - timedelta(days=20)
    actions.issue(
        container_id=first.pk, quantity=Decimal(1), key="late", counterpart="batch:1",
        happened_at=at,
    )  # fmt: skip
    due = (at + timedelta(days=OPEN_LIFE)).date()
    assert [ends(one) for one in (first, second, third)] == [due] * 3
    assert ends(untouched) == (NOW + timedelta(days=OPEN_LIFE - 1)).date()


def test_an_opening_entered_late_counts_and_one_entered_later_does_not(lot):
    one, two = can(lot, 5), can(lot)
    fill(one, two)
    open_container(one.pk, at=NOW - timedelta(days=9))
    open_container(one.pk, at=NOW)
    assert ends(one) == ends(two) == (NOW + timedelta(days=OPEN_LIFE - 9)).date()


def test_a_transfer_that_was_undone_carries_nothing_along(lot):
    one, two = can(lot, 5), can(lot, 1)
    fill(one, two)
    three = can(lot, 1)
    fill(one, three, key="wrong")
    actions.reverse(key_of_original="wrong", key="r", reason="other can", happened_at=NOW)
    open_container(one.pk, at=NOW - timedelta(days=9))
    assert ends(two) == (NOW + timedelta(days=OPEN_LIFE - 9)).date()
    assert ends(three) == (NOW + timedelta(days=OPEN_LIFE - 5)).date()


@pytest.mark.parametrize("kind", ["sample", "scrap", "return"])
def test_taking_a_part_out_opens_a_can_and_taking_it_whole_does_not(lot, kind):
    part, whole = can(lot), can(lot, holds=2)
    for one in (part, whole):
        actions.take_out(
            kind=MovementKind(kind), container_id=one.pk, quantity=Decimal(2), key=f"k{one.pk}",
            counterpart="waste", happened_at=NOW,
        )  # fmt: skip
        one.refresh_from_db()
    assert (part.opened_at, whole.opened_at) == (NOW, None)


def test_a_new_can_split_off_keeps_the_clock_of_its_source(site, frozen, lot):
    new = split(container=can(lot, 12), quantity=Decimal(1), key="s", by=None)
    assert ends(new) == (NOW + timedelta(days=OPEN_LIFE - 12)).date()
