"""By when a pot must be poured: one time, read from everything that says it."""

from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from django.test import Client

from planning.batches.models import Batch
from planning.clocks.deadline import deadline_of, life_at
from planning.core.casting.pot_life import pot_life_min
from planning.system_data import system_data
from planning.weigh_in import actions
from shared import clock
from shared.access.models import User
from shop import stores
from tests.callers import caller
from tests.conftest import make_user
from tests.factories.floor import sign_off


@pytest.fixture
def live(planned, time_machine):
    planned()
    batch = Batch.objects.get()
    sign_off(batch)
    for line in batch.lines.all():
        actions.record_weighing(
            line=line,
            weighed_kg=line.target_kg,
            key=f"w{line.pk}",
            at=batch.planned_start,
            now=batch.planned_start,
        )
    at = batch.planned_contact + timedelta(minutes=3)
    actions.record_entry(batch=batch, kind="contact", key="contact", at=at, now=at)
    time_machine.move_to(at + timedelta(minutes=1), tick=False)
    return Batch.objects.get()


def everywhere(batch):
    """Read the end of the pot life from pages, sheet and API, as what each of them shows."""
    page = Client()
    page.force_login(
        User.objects.get(username="tess"), backend="django.contrib.auth.backends.ModelBackend"
    )
    client = caller(make_user("technician", batch.site), [batch.site])
    day = clock.local(batch.planned_start, batch.site).date()
    sheet = client.get(f"/api/v1/sheets/{day}?site={batch.site.code}").json()
    shown = page.get(f"/batches/{batch.pk}/state.json").json()
    told = {
        datetime.fromisoformat(shown["latest_pour_at"]),
        datetime.fromisoformat(shown["contacted_at"]) + timedelta(minutes=shown["pot_life_min"]),
        datetime.fromisoformat(client.get(f"/api/v1/batches/{batch.pk}").json()["pour_by"]),
        datetime.fromisoformat(client.get(f"/api/v1/batches/{batch.pk}/gate").json()["pour_by"]),
        datetime.fromisoformat(sheet["batches"][0]["latest_pour_at"]),
    }
    (at,) = told
    words = f"{clock.local(at, batch.site):%H:%M}"
    assert f"pour by <strong>{words}" in page.get("/today/?who=all").content.decode()
    assert words in page.get(f"/sheets/{day}/").content.decode()
    return at


def log_air(client, site, celsius):
    body = {
        "site": site.code,
        "where": "air",
        "celsius": celsius,
        "at": clock.now().isoformat(),
        "confirmed": True,
    }
    answer = client.post("/api/v1/temperatures", body, format="json")
    assert answer.status_code == 201, answer.content


def test_page_today_sheet_and_api_tell_one_time_while_the_temperature_changes(live):
    batch = live
    client = caller(make_user("technician", batch.site), [batch.site])
    planned = everywhere(batch)
    assert planned == batch.contact_at + timedelta(minutes=batch.pot_life_min)
    log_air(client, batch.site, "28.0")
    warm = everywhere(batch)
    info = stores.system(batch.system_id)
    at_28 = int(pot_life_min(system_data(info), 28).value)
    assert warm == batch.contact_at + timedelta(minutes=at_28)
    now = clock.now()
    actions.record_entry(
        batch=batch, kind="conditions", key="mix", at=now, now=now, facts={"mix_c": "31.5"}
    )
    hot = everywhere(batch)
    assert hot < warm < planned
    log_air(client, batch.site, "20.0")
    assert everywhere(batch) == hot, "a cooler shop gives no time back"


def test_a_temperature_between_two_degrees_counts_as_the_warmer_one(live):
    info = stores.system(live.system_id)
    assert life_at(info, Decimal(3), 27.2) == life_at(info, Decimal(3), 28)


def test_air_read_long_before_or_long_after_says_nothing_of_the_pot(live, time_machine):
    client = caller(make_user("technician", live.site), [live.site])
    assert deadline_of(live).pot_life_min == live.pot_life_min
    for hours in (-5, 5):
        time_machine.move_to(live.contact_at + timedelta(hours=hours), tick=False)
        log_air(client, live.site, "35.0")
    assert deadline_of(live).pot_life_min == live.pot_life_min
