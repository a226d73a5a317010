"""Of a batch whose lot is held, people read which lot, since when, why, and what to do."""

from datetime import timedelta
from decimal import Decimal

import pytest
import time_machine
from django.test import Client

from planning.batches.barred import barred_rows, since_and_why
from planning.batches.models import Batch
from planning.today import queries
from planning.weigh_in import actions
from planning.weigh_in.gate_state import gate_of
from planning.weigh_in.page_state import batch_with_parts, state_of
from shared.access.models import User
from shop.lots import actions as lots
from shop.models import Lot
from tests.factories.floor import sign_off, weigh_all

WHY = "the maker recalls it"


@pytest.fixture
def batch(planned):
    planned()
    return Batch.objects.select_related("site").get()


@pytest.fixture
def held(batch):
    """The lot of its resin is held at 07:12 of the batch's day, shop time."""
    line = batch.lines.get(role="resin")
    at = batch.planned_start.replace(hour=6, minute=12)
    with time_machine.travel(at, tick=False):
        lots.hold([line.container.lot_id], reason=WHY)
    return line


def again(batch):
    return Batch.objects.select_related("site").get(pk=batch.pk)


def words(batch):
    ((row),) = barred_rows(again(batch))
    return row["words"], row["what_to_do"]


def test_the_lot_the_time_the_reason_and_the_way_out_are_named(batch, held):
    said, todo = words(batch)
    lot = held.container.lot
    assert said == (
        f"Lot {lot.code} of {lot.material.name} is held since Mon 30 Nov 2026, 07:12: {WHY}."
    )
    assert f"Do not weigh from can {held.container.code}." in todo
    assert f"Fetch another can of {lot.material.name}" in todo


def test_what_is_in_the_pot_already_is_not_to_be_mixed(batch):
    line = batch.lines.get(role="resin")
    at = batch.planned_start
    actions.record_weighing(line=line, weighed_kg=Decimal("0.2"), key="w", at=at, now=at)
    lots.hold([line.container.lot_id], reason=WHY)
    _, todo = words(batch)
    assert todo.startswith("0.2 kg of it are in the pot. Do not mix or pour it")
    assert "scrap the pot and weigh anew from another lot" in todo


def test_an_unknown_time_is_said_to_be_unknown(batch):
    assert since_and_why(None, "", batch.site) == (
        ", since when is not recorded; no reason is recorded"
    )


def test_today_and_the_batch_page_say_the_same(batch, held):
    said, todo = words(batch)
    at = batch.planned_start
    client = Client()
    client.force_login(
        User.objects.get(username="tess"),
        backend="django.contrib.auth.backends.ModelBackend",
    )
    with time_machine.travel(at, tick=False):
        html = client.get("/today/?who=all").content.decode()
    assert html.count(said) >= 2, "in the card or the row, and at what to fetch"
    assert todo in html
    work = queries.work_of(batch.site, [at.date()], None, at)
    assert (
        said
        in next(row for row in work["days"][0]["batches"] if row["id"] == batch.pk)["barred"][0][
            "words"
        ]
    )
    state = state_of(batch_with_parts(batch.pk, batch.site_id), at)
    line = next(row for row in state["lines"] if row["id"] == held.pk)
    assert line["barred"] == f"{said} {todo}"


def test_the_card_of_what_to_do_now_says_it_first(batch, held):
    sign_off(batch)
    at = batch.planned_start
    card = queries.work_of(batch.site, [at.date()], None, at)["card"]
    assert card.title == f"Weigh and mix batch {batch.number}"
    assert card.words.startswith(f"Stop. {words(batch)[0]}")


def test_the_gate_names_time_and_reason_too(batch):
    at = batch.planned_start
    weigh_all(batch, at)
    with time_machine.travel(at + timedelta(minutes=1), tick=False):
        lots.hold([batch.lines.get(role="resin").container.lot_id], reason=WHY)
    (found,) = [
        row for row in gate_of(again(batch), at)["contact"] if row["code"] == "lot_not_released"
    ]
    assert "is not released: it is held since Mon 30 Nov 2026" in found["words"]
    assert f": {WHY}." in found["words"]


def test_release_forgets_it(batch, held):
    lots.release(held.container.lot_id, reason="checked by quality")
    assert barred_rows(again(batch)) == []
    assert Lot.objects.get(pk=held.container.lot_id).status_at is not None
