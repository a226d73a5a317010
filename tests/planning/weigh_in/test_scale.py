"""A scale's reading reaches the page beside it, and no other."""

from datetime import timedelta
from decimal import Decimal

import pytest
import time_machine
from django.test import Client
from rest_framework.test import APIClient

from planning.batches.models import Batch, Weighing
from planning.weigh_in import scale_readings
from shared.access.models import User

pytestmark = pytest.mark.django_db


@pytest.fixture
def batch(planned):
    planned()
    return Batch.objects.select_related("scale").get()


@pytest.fixture
def scale():
    client = APIClient()
    client.force_authenticate(User.objects.get(username="tess"))
    return lambda **body: client.post("/api/v1/scale-readings", body, format="json")


@pytest.fixture
def page():
    client = Client()
    client.force_login(
        User.objects.get(username="tess"), backend="django.contrib.auth.backends.ModelBackend"
    )
    return client


def test_a_reading_is_shown_for_ten_seconds_and_booked_nowhere(batch, scale, page):
    address = f"/batches/{batch.pk}/scale.json"
    assert page.get(address).json() == {"kg": None, "stable": False}
    with time_machine.travel("2026-11-30T08:00:00Z", tick=False) as clock:
        sent = scale(site="DEMO", scale=batch.scale.code, kg="0.7905", stable=False)
        assert sent.status_code == 200, sent.json()
        assert page.get(address).json()["kg"] == "0.7905"
        clock.shift(timedelta(seconds=11))
        assert page.get(address).json()["kg"] is None
    assert not Weighing.objects.exists()


def test_another_scale_or_site_is_not_mixed_up(batch, scale, shop_site):
    with time_machine.travel("2026-11-30T08:00:00Z", tick=False):
        scale(site="DEMO", scale=batch.scale.code, kg="1", stable=True)
        from shared import clock

        def read(**where):
            usual = {"site_id": shop_site.pk, "scale": batch.scale.code, "now": clock.now()}
            return scale_readings.newest(**usual | where)

        assert Decimal(read()["kg"]) == 1
        assert read(scale="S2" if batch.scale.code == "S1" else "S1") is None
        assert read(site_id=shop_site.pk + 1) is None


@pytest.mark.parametrize(
    ("change", "word"),
    [
        pytest.param({"scale": "S9"}, "S1, S2", id="a scale the site has not"),
        pytest.param({"kg": "heavy"}, "kg", id="no number"),
        pytest.param({"kg": "99999"}, "10000", id="more than any scale carries"),
        pytest.param({"gram": "5"}, "gram", id="a field that does not exist"),
    ],
)
def test_bad_readings_are_named(shop_site, scale, change, word):
    answer = scale(**{"site": "DEMO", "scale": "S1", "kg": "1", **change})
    assert answer.status_code == 422
    assert word in answer.content.decode()
