"""Who has which batch open is said on Today and the batch page, and where it is not known too."""

from datetime import timedelta

import pytest
import time_machine
from django.test import Client

from planning.batches.models import Batch
from planning.weigh_in import actions, presence
from shared.access.models import User

TESS = "tess"


@pytest.fixture
def batch(planned, settings, tmp_path):
    settings.DATA = tmp_path
    planned()
    return Batch.objects.select_related("site").get()


def client_of(username):
    client = Client()
    client.force_login(
        User.objects.get(username=username),
        backend="django.contrib.auth.backends.ModelBackend",
    )
    return client


def two_of(batch):
    """Return the clients of two technicians of the shop, with their names."""
    users = list(
        User.objects.filter(memberships__role="technician", memberships__site=batch.site)
        .order_by("pk")
        .distinct()[:2]
    )
    assert len(users) == 2
    return [(client_of(user.username), str(user)) for user in users]


def weigh(batch, by, at):
    line = batch.lines.first()
    actions.record_weighing(line=line, weighed_kg=line.target_kg, key="w", at=at, now=at, by=by)


def test_two_technicians_see_each_other_on_the_page_and_on_today(batch):
    (first, one), (second, two) = two_of(batch)
    with time_machine.travel(batch.planned_start, tick=False) as travel:
        assert first.get(f"/batches/{batch.pk}/mark.json").json()["at_it"] == f"Open now: {one}."
        travel.shift(timedelta(seconds=4))
        told = second.get(f"/batches/{batch.pk}/mark.json").json()["at_it"]
        assert told == f"Open now: {', '.join(sorted([one, two]))}."
        assert told in first.get("/today/?who=all").content.decode()
        assert told in first.get(f"/batches/{batch.pk}/").content.decode()


def test_a_page_that_is_closed_is_no_longer_open(batch):
    (first, one), (second, two) = two_of(batch)
    with time_machine.travel(batch.planned_start, tick=False) as travel:
        first.get(f"/batches/{batch.pk}/mark.json")
        travel.shift(presence.OPEN_FOR + timedelta(seconds=1))
        told = second.get(f"/batches/{batch.pk}/mark.json").json()["at_it"]
        assert told == f"Open now: {two}."
        assert one not in told


def test_of_a_batch_that_is_begun_it_is_said_who_recorded_last_and_that_more_is_not_known(batch):
    at = batch.planned_start
    user = User.objects.get(username=TESS)
    weigh(batch, user, at)
    with time_machine.travel(at + timedelta(minutes=5), tick=False):
        told = presence.words_for(Batch.objects.select_related("site").get(), _now())
        html = client_of(TESS).get("/today/?who=all").content.decode()
    assert told.startswith("Nobody is seen to have it open now. Last recorded ")
    assert f"by {user}." in told
    assert told.endswith("Who is at it is not known: a phone without a network is not seen.")
    assert told in html


def test_of_a_batch_that_nobody_has_begun_or_opened_nothing_is_said(batch):
    assert presence.words_for(batch, batch.planned_start) == ""


def test_another_sites_pages_are_not_told(batch):
    presence.opened(batch=batch, by=User.objects.get(username=TESS), now=batch.planned_start)
    assert presence.open_at(batch.site_id + 1, batch.planned_start) == {}


def _now():
    from shared import clock

    return clock.now()
