"""Trouble told by one tap: kept at once, told to the site, open until it is called over."""

from datetime import timedelta

import pytest

from planning.batches.models import ALARMS
from planning.reminders import actions as reminders
from planning.reminders.models import Delivery, Kind, Reminder
from planning.reminders.wanted import pots_in_trouble, still_due
from planning.weigh_in import actions, alarms
from planning.weigh_in.page_mark import mark_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def batch(planned):
    from planning.batches.models import Batch

    planned()
    return Batch.objects.get()


def tell(batch, kind, at, **more):
    return actions.record_entry(batch=batch, kind=kind, key=f"{kind}@{at}", at=at, now=at, **more)


@pytest.mark.parametrize("kind", ALARMS)
def test_an_alarm_asks_nothing_and_stays_open_until_it_is_called_over(batch, kind):
    at = batch.planned_start
    before = mark_of(batch.pk, batch.site_id)
    entry = tell(batch, kind, at)
    assert mark_of(batch.pk, batch.site_id) != before
    assert alarms.open_entries(site_id=batch.site_id) == [entry]
    assert alarms.open_of(batch.entries.all()) == [entry]
    assert len(alarms.what_to_do(kind)) >= 3
    tell(batch, "all_clear", at + timedelta(minutes=3))
    assert alarms.open_entries(site_id=batch.site_id) == []
    assert alarms.open_of(batch.entries.all()) == []
    again = tell(batch, kind, at + timedelta(minutes=4))
    assert alarms.open_entries(site_id=batch.site_id) == [again]


def test_an_alarm_told_late_does_not_open_again_what_was_called_over(batch):
    at = batch.planned_start
    tell(batch, "all_clear", at)
    now = at + timedelta(minutes=5)
    actions.record_entry(
        batch=batch, kind="hot_pot", key="late", at=at - timedelta(minutes=1), now=now
    )
    assert alarms.open_entries(site_id=batch.site_id) == []
    assert alarms.open_of(batch.entries.all()) == []


@pytest.mark.parametrize("status", ["planned", "mixing", "poured", "scrapped", "cancelled"])
def test_an_alarm_is_taken_in_any_state_of_the_batch(batch, status):
    batch.status = status
    if status in ("mixing", "poured"):
        batch.contact_at = batch.planned_contact
    if status == "poured":
        batch.poured_at = batch.planned_pour_end
    batch.save()
    tell(batch, "hot_pot", batch.planned_pour_end)
    assert batch.entries.count() == 1


def test_the_people_of_the_site_get_a_message_in_the_next_round(batch):
    at = batch.planned_start
    entry = tell(batch, "hot_pot", at)
    reminders.refresh(at, [Kind.ALARM])
    reminders.tell_due(at)
    row = Reminder.objects.get()
    assert (row.kind, row.title) == ("alarm", f"Hot pot: batch {batch.number}")
    assert row.path == f"/batches/{batch.pk}/"
    assert "Do not stir it" in row.words
    told = set(Delivery.objects.values_list("user__username", "channel"))
    assert {("tess", "today"), ("timo", "today"), ("petra", "today")} <= told
    assert still_due("alarm", {f"entry:{entry.pk}"}, at) == {f"entry:{entry.pk}"}
    tell(batch, "all_clear", at + timedelta(minutes=1))
    assert list(pots_in_trouble(at)) == []
    reminders.refresh(at + timedelta(minutes=1), [Kind.ALARM])
    row.refresh_from_db()
    assert row.state == "over"


def test_open_pages_of_the_site_hear_of_it(batch, client):
    from shared.access.models import User

    at = batch.planned_start
    tess = User.objects.get(username="tess")
    entry = tell(batch, "spill", at, by=tess)
    client.force_login(tess, backend="django.contrib.auth.backends.ModelBackend")
    (row,) = client.get("/alarms.json").json()["alarms"]
    assert (row["id"], row["batch"], row["path"]) == (
        entry.pk,
        batch.pk,
        f"/batches/{batch.pk}/",
    )
    assert row["words"].startswith(f"Spill or splash: batch {batch.number}, told ")
    assert row["words"].endswith(f"by {tess}")
