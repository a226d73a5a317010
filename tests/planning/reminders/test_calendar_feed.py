"""The calendar feed is read by a library and keeps its identities through moves."""

from datetime import timedelta
from uuid import UUID, uuid4

import pytest
from icalendar import Calendar

from planning.batches.models import Batch, BatchPortion
from planning.clocks.models import Cure
from planning.pours.models import Pour
from planning.reminders import actions
from planning.reminders.calendar_feed import feed_of, owner_of
from shared import clock
from shared.access.models import Site, User
from tests.planning.reminders.castings import HOUR, NOW, make_cure, make_pour, make_shop
from tests.reference_cases import params

pytestmark = pytest.mark.django_db
FILE = "interchange_checks.csv"


@pytest.fixture
def cure():
    site = make_shop(name="Gießerei; µ, „Nord“ – eine Werkstatt mit einem sehr langen Namen")
    return make_cure(make_pour(site), poured_at=NOW, peak_passed_at=NOW)


def technician():
    return User.objects.get(email="technician@example.org")


def events(now=NOW):
    calendar = Calendar.from_ical(feed_of(technician(), now))
    return {str(event["uid"]): event for event in calendar.walk("VEVENT")}


def cures(now=NOW):
    from planning.reminders.models import Reminder

    titles = set(Reminder.objects.filter(kind="cure_complete").values_list("title", flat=True))
    return [event for event in events(now).values() if str(event["summary"]) in titles]


def cure_event(now=NOW):
    return cures(now)[0]


def test_cure_is_an_event_at_its_time_with_an_alarm(cure):
    actions.refresh(NOW)
    event = cure_event()
    assert event.decoded("dtstart") == NOW + 24 * HOUR
    assert event.decoded("dtend") > event.decoded("dtstart")
    assert (event["sequence"], event["status"]) == (0, "CONFIRMED")
    (alarm,) = event.walk("VALARM")
    assert (alarm["action"], str(alarm["description"])) == ("DISPLAY", str(event["summary"]))


def test_moved_cure_keeps_its_identity_and_counts_up(cure):
    actions.refresh(NOW)
    before = cure_event()
    Cure.objects.update(demould_due_at=NOW + 30 * HOUR)
    actions.refresh(NOW)
    after = cure_event()
    assert after["uid"] == before["uid"]
    assert after["sequence"] == before["sequence"] + 1
    assert after.decoded("dtstart") == NOW + 30 * HOUR


def test_cancelled_pour_stays_cancelled_for_thirty_days(cure):
    actions.refresh(NOW)
    Pour.objects.update(status="cancelled")
    actions.refresh(NOW)
    assert cure_event()["status"] == "CANCELLED"
    assert cure_event(NOW + timedelta(days=30))["status"] == "CANCELLED"
    assert not cures(NOW + timedelta(days=32))


def test_batch_is_an_event_from_weighing_to_cleaning(cure):
    batch = Batch.objects.create(
        site=cure.lift.pour.order.site,
        number="2026-17",
        system=cure.lift.pour.system,
        mixed_kg="10.30000143",
        planned_start=NOW,
        planned_contact=NOW + timedelta(minutes=10),
        planned_pour_start=NOW + timedelta(minutes=15),
        planned_pour_end=NOW + timedelta(minutes=20),
        planned_end=NOW + timedelta(minutes=25),
        pot_life_min=60,
        status="cancelled",
    )
    BatchPortion.objects.create(
        batch=batch, lift=cure.lift, kg=10, order=1, planned_start=NOW, planned_end=NOW
    )
    (event,) = (one for one in events().values() if "2026-17" in str(one["summary"]))
    assert event.decoded("dtend") - event.decoded("dtstart") == timedelta(minutes=25)
    assert str(event["summary"]) == f"Batch 2026-17: {cure.lift.pour}"
    assert event["status"] == "CANCELLED"
    assert not event.walk("VALARM"), "nothing begins that was cancelled"
    local = clock.local(NOW + timedelta(minutes=10), batch.site)
    assert str(event["description"]).startswith(
        f"10.300\N{NO-BREAK SPACE}kg, first contact {local:%H:%M}. "
    )
    batch.status = "planned"
    batch.save()
    (event,) = (one for one in events().values() if "2026-17" in str(one["summary"]))
    (alarm,) = event.walk("VALARM")
    assert alarm["trigger"].dt == timedelta(0)


def test_times_are_the_shops_own_with_its_zone(cure):
    zone = "America/Halifax"
    Site.objects.update(time_zone=zone)
    actions.refresh(NOW)
    calendar = Calendar.from_ical(feed_of(technician(), NOW))
    assert [str(one["tzid"]) for one in calendar.walk("VTIMEZONE")] == [zone]
    event = cure_event()
    assert event["dtstart"].params["TZID"] == zone
    assert event.decoded("dtstart") == NOW + 24 * HOUR
    assert missing(feed_of(technician(), NOW)) == []


def test_two_shops_never_use_one_identity(cure):
    actions.refresh(NOW)
    before = set(events())
    assert all(UUID(uid).version == 5 for uid in before)
    Site.objects.update(uid=uuid4())
    assert not before & set(events())
    assert len(events()) == len(before)


def test_feed_is_folded_to_75_octets_with_the_right_line_ends(cure):
    from planning.reminders.models import Reminder

    actions.refresh(NOW)
    words = "µm é; 40 mm, A:B = 100:18 \\ hold\n" * 10
    Reminder.objects.filter(kind="cure_complete").update(words=words)
    raw = feed_of(technician(), NOW)
    assert b"\n" not in raw.replace(b"\r\n", b"")
    assert max(len(line) for line in raw.split(b"\r\n")) <= 75
    assert str(cure_event()["description"]) == words
    assert raw.decode()


def raw_feed_with(**words):
    from planning.reminders.models import Reminder

    actions.refresh(NOW)
    Reminder.objects.filter(kind="cure_complete").update(**words)
    return feed_of(technician(), NOW)


@pytest.mark.parametrize("case", params(FILE, "IC-03", "IC-04"))
def test_text_is_escaped_as_the_standard_has_it(cure, case):
    unfolded = raw_feed_with(words=case.inputs["text"]).replace(b"\r\n ", b"").decode()
    assert f"DESCRIPTION:{case.expected['escaped']}\r\n" in unfolded, case.source


@pytest.mark.parametrize("case", params(FILE, "IC-02"))
def test_long_line_is_folded_between_characters(cure, case):
    title = case.inputs["line"].removeprefix("SUMMARY:")
    raw = raw_feed_with(title=title)
    lines = raw.split(b"\r\n")
    assert max(len(line) for line in lines) <= case.expected["max_octets_per_line"]
    inside = any(line.decode(errors="replace").count("\ufffd") for line in lines)
    assert inside is case.expected["splits_inside_a_character"]
    unfolded = case.inputs["line"] in raw.replace(b"\r\n ", b"").decode()
    assert unfolded is case.expected["unfolds_to_input"], case.source


REQUIRED = {
    "VCALENDAR": ("PRODID", "VERSION"),
    "VEVENT": ("UID", "DTSTAMP", "DTSTART"),
    "VALARM": ("ACTION", "TRIGGER", "DESCRIPTION"),
    "VTIMEZONE": ("TZID",),
    "STANDARD": ("DTSTART", "TZOFFSETFROM", "TZOFFSETTO"),
    "DAYLIGHT": ("DTSTART", "TZOFFSETFROM", "TZOFFSETTO"),
}


def missing(text):
    """What RFC 5545 requires and a calendar lacks, as the rows of the cases name it."""
    return [
        name if part.name == "VEVENT" else f"{part.name}.{name}"
        for part in Calendar.from_ical(text).walk()
        for name in REQUIRED[part.name]
        if name not in part
    ]


@pytest.mark.parametrize("case", params(FILE, "IC-10", "IC-11"))
def test_feed_lacks_nothing_that_is_required(cure, case):
    found = missing(case.inputs["text"])
    assert {"valid": not found, "missing": found} == case.expected, case.source
    actions.refresh(NOW)
    assert missing(feed_of(technician(), NOW)) == []


def test_each_event_has_what_the_standard_requires(cure):
    actions.refresh(NOW)
    for event in events().values():
        assert {"uid", "dtstamp", "dtstart"} <= {name.lower() for name in event}
        for alarm in event.walk("VALARM"):
            assert {"action", "trigger", "description"} <= {name.lower() for name in alarm}


def test_kinds_not_wanted_in_the_calendar_are_left_out(cure):
    actions.refresh(NOW)
    site = cure.lift.pour.order.site
    actions.choose_channels(user=technician(), site=site, kind="cure_complete", channels=["email"])
    assert not cures()


def test_token_opens_one_persons_feed_until_it_is_renewed_or_closed(cure):
    user = technician()
    token = actions.renew_feed(user=user)
    assert owner_of(actions.digest_of(token)) == user
    newer = actions.renew_feed(user=user)
    assert owner_of(actions.digest_of(token)) is None
    assert owner_of(actions.digest_of(newer)) == user
    actions.close_feed(user=user)
    assert owner_of(actions.digest_of(newer)) is None
    assert owner_of("") is None


def test_feed_of_somebody_who_left_is_closed(cure):
    user = technician()
    token = actions.renew_feed(user=user)
    User.objects.filter(pk=user.pk).update(is_active=False)
    assert owner_of(actions.digest_of(token)) is None
