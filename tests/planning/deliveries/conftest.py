"""Castings that stand ready to be sent, without pouring them."""

from __future__ import annotations

import pytest

from planning.pours.models import Pour, ToolOrder
from tests.factories.castings import take_off


@pytest.fixture
def ready(take, now):
    """Take in an order and have its casting taken off, accepted and finished."""

    def make(number="T-1", *, customer="Invented customer", verdict="accept", **more):
        pour = take(number, **more)
        ToolOrder.objects.filter(pk=pour.order_id).update(customer=customer, status="done")
        take_off(pour, now, verdict)
        return Pour.objects.get(pk=pour.pk)

    return make
