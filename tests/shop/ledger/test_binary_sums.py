"""SQLite adds decimals in binary: sums must neither creep below zero nor refuse what is there."""

from decimal import Decimal

import pytest

from shop import stores
from shop.ledger import actions
from tests.factories.shop import NOW, make_container

pytestmark = pytest.mark.django_db
PARTS = [Decimal("0.05"), Decimal("0.56"), Decimal("0.11")]
"""As binary fractions they add up to 0.7200000000000001, and back to -1.4e-17."""


def reserve_all(container):
    for n, quantity in enumerate(PARTS):
        stores.reserve(
            container_id=container.pk, quantity=quantity, purpose=f"batch:{n}", needed_at=NOW
        )


def test_all_of_a_container_can_be_set_aside_and_freed():
    container = make_container(holds="0.72")
    for _ in range(5):
        reserve_all(container)
        assert stores.free_reservations(prefix="batch:") == 3
        container.refresh_from_db()
        assert container.reserved == 0


def test_all_of_a_container_can_be_issued_in_parts():
    container = make_container(holds="0.72")
    reserve_all(container)
    for n, quantity in enumerate(PARTS):
        actions.issue(
            container_id=container.pk,
            quantity=quantity,
            key=f"part-{n}",
            counterpart="batch:1",
            purpose=f"batch:{n}",
            happened_at=NOW,
        )
    container.refresh_from_db()
    assert (container.balance, container.reserved) == (0, 0)
