"""Pages of reminders: what is open, what failed, how one is told, the calendar's address."""

import re
from datetime import timedelta

import pytest
from django.urls import resolve
from icalendar import Calendar

import planning.reminders.sweep as sweep_module
from planning.reminders import actions, heartbeat, queries
from planning.reminders.heartbeat import is_alive
from planning.reminders.models import Delivery, Heartbeat, ReminderSettings
from planning.reminders.sweep import beat, kinds_now, sweep
from planning.reminders.wanted import PAGES
from shared.access.models import User
from tests.callers import make_user
from tests.conftest import NOON
from tests.planning.reminders.test_views import make_reminder

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen")]


def person(client):
    return User.objects.get(pk=client.session["_auth_user_id"])


def test_page_shows_what_is_open_coming_and_in_trouble(browser_of, site):
    make_user("technician", site, "tech")
    make_reminder(site, title="Tool 7 may be demoulded")
    make_reminder(site, "cure:2", title="Tool 8 tomorrow", due_at=NOON + timedelta(days=1))
    actions.tell_due(NOON)
    text = browser_of("technician").get("/reminders/").content.decode()
    assert "Tool 7 may be demoulded" in text
    assert "Tool 8 tomorrow" in text
    assert "tech has no e-mail address." in text
    assert "No sweeper of reminders has run yet." in text


def test_page_hides_what_belongs_to_another_site(browser_of, site, other_site):
    make_user("technician", other_site, "far")
    make_reminder(other_site, title="Far away")
    actions.tell_due(NOON)
    text = browser_of("technician").get("/reminders/").content.decode()
    assert "Far away" not in text
    assert "Nothing waits to be seen to." in text


def test_failed_message_is_sent_again_from_the_page(browser_of, site):
    make_user("technician", site, "tech")
    make_reminder(site)
    actions.tell_due(NOON)
    failed = Delivery.objects.get(state="failed")
    browser_of("technician").post(f"/reminders/messages/{failed.pk}/again/")
    failed.refresh_from_db()
    assert failed.state == "waiting"


def test_stranger_is_sent_to_sign_in(client, site):
    assert client.get("/reminders/").status_code == 302


def test_channels_are_chosen_on_the_page_and_only_changes_are_kept(browser_of, site):
    client = browser_of("technician")
    rows = queries.choices_of(person(client), site)
    data = {row.kind: list(row.channels) for row in rows}
    data |= {"what": "channels", "cure_complete": ["today"]}
    assert client.post("/reminders/how/", data).status_code == 302
    chosen = [row for row in queries.choices_of(person(client), site) if row.chosen]
    assert [(row.kind, row.channels) for row in chosen] == [("cure_complete", ("today",))]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        pytest.param(
            {"what": "quiet", "quiet_from": "20:00", "quiet_until": ""},
            "quiet_until is empty; give both or neither.",
            id="half of the quiet hours",
        ),
        pytest.param(
            {"what": "webhook", "webhook_url": "http://hooks.example/"},
            "webhook_url: The address must begin with https:// and name a host.",
            id="webhook without encryption",
        ),
    ],
)
def test_refusal_stands_beside_its_field_and_changes_nothing(browser_of, data, words):
    client = browser_of("technician")
    assert words in client.post("/reminders/how/", data).content.decode()
    own = ReminderSettings.objects.get()
    assert (own.quiet_from, own.webhook_url) == (None, "")


def test_quiet_hours_and_webhook_are_kept_and_the_secret_is_shown_once(browser_of):
    client = browser_of("technician")
    client.post("/reminders/how/", {"what": "quiet", "quiet_from": "20:00", "quiet_until": "6:00"})
    client.post("/reminders/how/", {"what": "webhook", "webhook_url": "https://hooks.example/x"})
    own = ReminderSettings.objects.get()
    assert (own.quiet_from.hour, own.quiet_until.hour) == (20, 6)
    first, second = (client.get("/reminders/how/").content.decode() for _ in range(2))
    assert own.webhook_secret.replace("+", "&#x2B;") in first.replace("+", "&#x2B;")
    assert own.webhook_secret[:12] not in second


def test_calendar_address_opens_one_feed_without_signing_in(browser_of, client, site):
    owner = browser_of("technician")
    make_reminder(site, due_at=NOON + timedelta(hours=3), title="Tool 7 may be demoulded")
    owner.post("/reminders/calendar/", {})
    text = owner.get("/reminders/how/").content.decode()
    path = re.search(r"/calendar/[\w-]{43}\.ics", text).group()
    answer = client.get(path)
    assert answer["Content-Type"].startswith("text/calendar")
    assert answer["Cache-Control"].startswith("private")
    (event,) = Calendar.from_ical(answer.content).walk("VEVENT")
    assert str(event["summary"]) == "Tool 7 may be demoulded"
    owner.post("/reminders/calendar/", {"what": "close"})
    assert client.get(path).status_code == 404
    assert client.get("/calendar/.ics").status_code == 404


@pytest.fixture
def database_at_our_time(monkeypatch):
    """A database server's own clock can't be stopped, so the test stands in for it."""
    for module in (sweep_module, heartbeat):
        monkeypatch.setattr(module, "database_now", lambda otherwise: otherwise)


@pytest.mark.usefixtures("database_at_our_time")
def test_sweeper_that_is_dead_or_has_a_wrong_clock_is_noticed():
    assert not is_alive()
    sweep(lambda: NOON)
    assert is_alive()
    assert queries.sweeper_health(NOON + timedelta(seconds=180)).well
    late = queries.sweeper_health(NOON + timedelta(seconds=181))
    assert "last ran 3 min ago" in late.words
    Heartbeat.objects.update(clock_apart_s=-7)
    assert queries.sweeper_health(NOON).words == (
        "A worker's clock is -7 s from the database's; set the clocks."
    )
    assert not is_alive()


def test_paths_written_into_reminders_lead_to_pages():
    for path in PAGES.values():
        assert resolve(path.format(1)).url_name


def test_beat_is_one_row_however_many_workers():
    for worker in ("one", "two"):
        beat(NOON, worker)
    assert Heartbeat.objects.get(name="reminders").worker == "two"


def test_kinds_told_to_the_day_are_read_by_one_worker_every_five_minutes():
    def read(minutes):
        return "tool_due" in kinds_now(NOON + timedelta(minutes=minutes))

    assert [read(m) for m in (0, 0, 4, 5, 6, 10)] == [True, False, False, True, False, True]
    assert read(-60), "a clock set back an hour must not stop them for an hour"
    assert all("cure_complete" in kinds_now(NOON) for _ in range(3))


@pytest.mark.usefixtures("database_at_our_time")
def test_task_goes_round_and_old_messages_are_forgotten(site, frozen):
    from planning.tasks import forget_old_messages, sweep_reminders

    make_user("technician", site, "tech")
    reminder = make_reminder(site)
    actions.tell_due(NOON)
    assert sweep_reminders() == 0
    reminder.refresh_from_db()
    assert reminder.state == "over"
    frozen.shift(timedelta(days=91))
    assert forget_old_messages() == 1
    assert Delivery.objects.count() == 0
