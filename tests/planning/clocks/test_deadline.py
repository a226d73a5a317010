"""By when a pot must be poured: one time, read from everything that says it."""

import io
from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from django.test import Client
from pypdf import PdfReader

from planning.batch_sheets.queries import sheet
from planning.batches.models import Batch
from planning.clocks import deadline
from planning.clocks.deadline import deadline_of, life_at, minutes_by_temperature
from planning.core.casting.pot_life import pot_life_min
from planning.reminders import actions as actions_of_reminders
from planning.reminders.models import Kind, Reminder
from planning.reminders.wanted import POT_LEAD
from planning.system_data import system_data
from planning.weigh_in import actions
from shared import clock
from shared.access.models import User
from shop import stores
from tests.callers import caller
from tests.conftest import make_user
from tests.factories.floor import sign_off, weigh_all


@pytest.fixture
def live(planned, time_machine):
    planned()
    batch = Batch.objects.get()
    sign_off(batch)
    weigh_all(batch)
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
    told_by_api = client.get(f"/api/v1/sheets/{day}?site={batch.site.code}").json()
    shown = page.get(f"/batches/{batch.pk}/state.json").json()
    told = {
        datetime.fromisoformat(shown["latest_pour_at"]),
        datetime.fromisoformat(shown["contacted_at"]) + timedelta(minutes=shown["pot_life_min"]),
        datetime.fromisoformat(client.get(f"/api/v1/batches/{batch.pk}").json()["pour_by"]),
        datetime.fromisoformat(client.get(f"/api/v1/batches/{batch.pk}/gate").json()["pour_by"]),
        datetime.fromisoformat(told_by_api["batches"][0]["latest_pour_at"]),
    }
    (at,) = told
    words = f"{clock.local(at, batch.site):%H:%M}"
    assert f"pour by <strong>{words}" in page.get("/today/?who=all").content.decode()
    assert words in page.get(f"/sheets/{day}/").content.decode()
    pdf = PdfReader(io.BytesIO(page.get(f"/sheets/{day}.pdf").content))
    (paper,) = [text for text in (p.extract_text() for p in pdf.pages) if "Weigh, kg" in text]
    assert f"Batch {batch.number}, page 1 of 1" in paper
    assert f"{words} " in f"{' '.join(paper.split())} "
    actions_of_reminders.refresh(clock.now(), [Kind.POT_LIFE_ENDS])
    reminder = Reminder.objects.get(key=f"pot_life_ends:batch:{batch.pk}")
    assert reminder.due_at == at - POT_LEAD
    assert reminder.title == f"Batch {batch.number}: pour by {words}"
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


def test_paper_s_table_is_the_live_deadline_at_each_of_its_temperatures(live, time_machine):
    """A mix measured at a temperature of the table gives the page the minutes of the table."""
    info = stores.system(live.system_id)
    expected = max(portion.lift.expected_c for portion in live.portions.all())
    rows = minutes_by_temperature(live, info, expected)
    assert len(rows) > 3
    assert rows[0][1] == live.pot_life_min
    assert [minutes for _, minutes in rows] == sorted((m for _, m in rows), reverse=True)
    day = clock.local(live.planned_start, live.site).date()
    (told,) = sheet(site=live.site, day=day, on_paper=True)["batches"]
    assert [(row["celsius"], row["minutes"]) for row in told["pour_by_mix_c"]] == rows
    now = clock.now()
    for n, (celsius, minutes) in enumerate(rows):
        actions.record_entry(
            batch=live, kind="conditions", key=f"mix{n}", at=now, now=now,
            facts={"mix_c": str(celsius)},
        )  # fmt: skip
        assert deadline_of(Batch.objects.get()).pot_life_min == minutes
        between = deadline_of(Batch.objects.get()).counts_from + timedelta(minutes=minutes)
        assert deadline_of(Batch.objects.get()).pour_by == between


def test_a_pot_that_is_poured_asks_for_no_reminder(live):
    actions_of_reminders.refresh(clock.now(), [Kind.POT_LIFE_ENDS])
    assert Reminder.objects.get().state == "waiting"
    at = clock.now() + timedelta(minutes=live.system.mix_min)
    actions.record_entry(batch=live, kind="poured", key="poured", at=at, now=at)
    actions_of_reminders.refresh(clock.now(), [Kind.POT_LIFE_ENDS])
    assert Reminder.objects.get().state == "cancelled"


def test_paper_never_gives_a_warmer_mix_longer(live, monkeypatch):
    lives = {20: 60, 22: 40, 24: 7, 26: 17, 28: 12}
    monkeypatch.setattr(deadline, "_minutes_at", lambda batch, info, c: (lives.get(c, 5), ""))
    live.pot_life_min = 60
    info = stores.system(live.system_id)
    rows = minutes_by_temperature(live, info, Decimal(20))[:5]
    assert rows == [(20, 60), (22, 40), (24, 7), (26, 7), (28, 7)]
