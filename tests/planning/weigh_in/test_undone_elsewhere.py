"""A weighing is put right at its batch: undone in the ledger alone, the two would differ."""

from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from planning.batches.models import Batch
from planning.weigh_in import actions
from planning.weigh_in.amending import amend_weighing
from shop.models import Movement
from tests.callers import caller
from tests.conftest import make_user


@pytest.fixture
def weighing(planned):
    planned()
    batch = Batch.objects.get()
    line = batch.lines.first()
    at = batch.planned_start
    return actions.record_weighing(
        line=line, weighed_kg=line.target_kg, key="w", at=at, now=at
    ).weighing


def movement_of(weighing, beginning="weighing:"):
    return Movement.objects.get(key__startswith=beginning)


def test_a_call_cannot_undo_it(weighing, shop_site):
    technician = caller(make_user("technician", shop_site), [shop_site])
    before = weighing.container.balance
    row = movement_of(weighing)
    answer = technician.post(
        "/api/v1/movements", {"reverses": str(row.pk), "reason": "booked twice"}
    )
    assert answer.status_code == 409
    assert answer.json()["code"] == "belongs_elsewhere"
    assert "Open the batch and put the weighing right there" in answer.json()["detail"]
    weighing.container.refresh_from_db()
    assert weighing.container.balance == before


def test_the_page_of_the_lot_cannot_undo_it(weighing, shop_site):
    client = Client()
    client.force_login(
        make_user("technician", shop_site),
        backend="django.contrib.auth.backends.ModelBackend",
    )
    row = movement_of(weighing)
    address = reverse("lot-button", args=[row.container.lot_id, "reverse"])
    page = client.post(address, {"movement": row.pk, "reason": "booked twice"}, follow=True)
    assert "Open the batch and put the weighing right there" in page.content.decode()
    assert not Movement.objects.filter(reverses=row).exists()


def test_what_a_weighing_was_amended_to_is_not_undone_either(weighing, shop_site):
    less = weighing.weighed_kg - Decimal("0.1")
    amend_weighing(weighing=weighing, to_kg=less, reason="read again", key="a", now=weighing.at)
    technician = caller(make_user("technician", shop_site), [shop_site])
    row = movement_of(weighing, "amended:")
    answer = technician.post("/api/v1/movements", {"reverses": str(row.pk), "reason": "no"})
    assert answer.status_code == 409
