"""Today begins with the one thing to do; what earlier days left stays; the page asks little."""

from datetime import timedelta

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from planning.batches.models import Batch
from planning.pours.models import PourStep
from planning.pours.steps import waive_step
from planning.reminders import actions as reminders
from planning.reminders.models import Kind
from planning.today import queries
from planning.today.now import AT_THE_POT, BEGUN, DUE, LATER
from planning.weigh_in import actions as weigh_in
from shared import clock
from shared.access.models import User
from shared.errors import Invalid, ShopError
from shop.models import Lot
from tests.factories.floor import sign_off, weigh_all
from tests.factories.shop import make_tool

pytestmark = pytest.mark.django_db
MOST_QUERIES = 23
"""Three of them for what the tools in service want."""


@pytest.fixture
def batch(planned):
    planned()
    return Batch.objects.select_related("site").get()


def card_at(batch, now):
    day = clock.local(now, batch.site).date()
    return queries.work_of(batch.site, [day], None, now)["card"]


def weigh(batch):
    weigh_all(batch)


def sign_in(username="tess"):
    client = Client()
    client.force_login(
        User.objects.get(username=username),
        backend="django.contrib.auth.backends.ModelBackend",
    )
    return client


def test_the_card_follows_the_day_from_the_first_step_to_the_living_pot(batch):
    first = PourStep.objects.filter(planned_start__isnull=False).order_by("planned_start").first()
    early = card_at(batch, first.planned_start - timedelta(minutes=5))
    assert (early.rank, early.title) == (LATER, first.name)
    due = card_at(batch, first.planned_start)
    assert (due.rank, due.title, due.by) == (DUE, first.name, first.planned_end)
    assert not due.is_late(first.planned_end)
    assert due.is_late(first.planned_end + timedelta(minutes=1))
    sign_off(batch)
    ready = card_at(batch, batch.planned_start)
    assert (ready.rank, ready.page, ready.pk) == (DUE, "batch", batch.pk)
    weigh(batch)
    assert card_at(batch, batch.planned_start).rank == BEGUN
    at = batch.planned_contact
    weigh_in.record_entry(batch=batch, kind="contact", key="c", at=at, now=at)
    living = card_at(batch, at)
    batch.refresh_from_db()
    assert living.rank == AT_THE_POT
    assert living.by == at + timedelta(minutes=batch.pot_life_min)
    at += timedelta(minutes=batch.system.mix_min)
    weigh_in.record_entry(batch=batch, kind="poured", key="p", at=at, now=at)
    after = card_at(batch, at)
    assert after is None or after.page == "pour"


def test_what_earlier_days_left_stays_until_it_is_done_or_left_out_with_a_reason(batch):
    step = PourStep.objects.filter(planned_start__isnull=False).order_by("planned_start").first()
    later = step.planned_start + timedelta(days=3)
    day = clock.local(later, batch.site).date()

    def left():
        return queries.work_of(batch.site, [day], None, later)["left"]

    assert step.pk in {row["id"] for row in left()["steps"]}
    assert [row["number"] for row in left()["batches"]] == [batch.number]
    card = card_at(batch, later)
    assert card.is_late(later)
    with pytest.raises(Invalid, match="The reason is no; write at least 3 letters"):
        waive_step(step=step, reason="no", now=later)
    waive_step(step=step, reason="the surface was renewed", now=later)
    assert (step.waived, step.remark) == (True, "the surface was renewed")
    assert step.pk not in {row["id"] for row in left()["steps"]}
    assert waive_step(step=step, reason="again", now=later).remark == "the surface was renewed"
    signed = PourStep.objects.exclude(pk=step.pk).filter(phase="before").first()
    PourStep.objects.filter(pk=signed.pk).update(done_at=later)
    signed.refresh_from_db()
    with pytest.raises(ShopError, match="signed already"):
        waive_step(step=signed, reason="too late", now=later)


def test_a_held_lot_is_not_fetched_but_named(batch, shop_site):
    line = batch.lines.get(role="resin")
    day = batch.planned_start.date()
    before = queries.day_of(shop_site, day, None, batch.planned_start)
    assert line.container.code in {row["container"] for row in before["fetch"]}
    Lot.objects.filter(pk=line.container.lot_id).update(status="held")
    after = queries.day_of(shop_site, day, None, batch.planned_start)
    assert line.container.code not in {row["container"] for row in after["fetch"]}
    (row,) = after["do_not_fetch"]
    assert (row["container"], row["batches"]) == (line.container.code, [batch.number])
    assert "is held" in row["barred"]
    html = sign_in().get(f"/today/?day={day}&who=all").content.decode()
    assert f"Do not take {line.container.code}" in html


def test_a_step_is_left_out_on_the_page(batch):
    step = PourStep.objects.filter(phase="before").first()
    html = sign_in().post(
        f"/steps/{step.pk}/waive/", {"reason": "made last week", "back": "/today/"}, follow=True
    )
    assert "is waived: made last week" in html.content.decode()


@pytest.mark.parametrize("address", ["/today/?who=all", "/today/?who=all&rest=1", "/week/"])
def test_today_and_the_week_ask_the_tables_little(batch, address):
    for _ in range(3):
        make_tool(batch.site, shots_per_coat=5)
    sign_off(batch)
    weigh(batch)
    for kind, at in (("contact", batch.planned_contact), ("poured", batch.planned_pour_end)):
        weigh_in.record_entry(batch=batch, kind=kind, key=kind, at=at, now=at)
    weigh_in.record_entry(batch=batch, kind="hot_pot", key="hot", at=at, now=at)
    late = PourStep.objects.filter(planned_start__isnull=False).first()
    PourStep.objects.filter(pk=late.pk).update(
        done_at=None, planned_start=batch.planned_start - timedelta(days=2)
    )
    client = sign_in()
    with time_machine.travel(batch.planned_start + timedelta(hours=1), tick=False):
        client.force_login(
            User.objects.get(username="tess"),
            backend="django.contrib.auth.backends.ModelBackend",
        )
        reminders.refresh(clock.now(), [Kind.ALARM])
        reminders.tell_due(clock.now())
        client.get(address, follow=True)
        where = client.get(address, follow=True).request["PATH_INFO"]
        if address.startswith("/today"):
            where = address
        with CaptureQueriesContext(connection) as asked:
            html = client.get(where).content.decode()
    if address.startswith("/today"):
        assert f"left-{late.pk}" in html
        assert "Hot pot: batch" in html
    assert len(asked) <= MOST_QUERIES, "\n".join(row["sql"][:120] for row in asked)
