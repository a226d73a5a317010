"""Times typed for the night the clocks change: asked about or refused beside their field."""

import re
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest

from planning.batches.models import Lift
from planning.batches.printed import clock_text, day_clock_text
from planning.clocks.models import OvenStay, TemperatureReading
from planning.core.problem import Limits, Settings
from planning.pours.models import Pour
from planning.reminders import wanted
from planning.schedule.snapshot import problem_of_week
from planning.weigh_in import from_paper
from shared import clock
from shared.access.models import Site
from shared.errors import Invalid
from shop.models import DayChange, Mixer, Outage, Person
from tests.conftest import make_user

NIGHTS = {
    "Europe/Berlin": ("2026-03-29T02:30", "2026-10-25T02:30", "2026-10-25T01:30"),
    "Pacific/Auckland": ("2026-09-27T02:30", "2026-04-05T02:30", "2026-04-04T14:30"),
}
"""A time that is skipped, one that is shown twice, and the second moment of that, in UTC."""


@pytest.fixture(params=NIGHTS)
def night(request, shop_site, take, client, now, monkeypatch):
    monkeypatch.setattr(clock, "now", lambda: now)
    Site.objects.update(time_zone=request.param)
    user = make_user("technician", shop_site)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    pour = take()
    Lift.objects.create(
        pour=pour, number=1, depth_mm=30, mass_kg=1, planned_start=now, planned_end=now
    )
    return pour, *NIGHTS[request.param]


def field_of(page, name):
    """Return what the page shows of one field, its words of refusal included."""
    (found,) = re.findall(rf'<div class="field"><label for="{name}">.*?</div>', page, re.DOTALL)
    return found


def test_a_temperature_of_a_skipped_time_is_refused_and_of_a_doubled_one_asked_about(
    night, client
):
    pour, skipped, doubled, second = night
    row = {"where": "air", "degrees": "20", "unit": "celsius"}

    def send(**more):
        return client.post(f"/pours/{pour.pk}/temperature/", {**row, **more})

    refused = send(at=skipped)
    assert refused.status_code == 422
    words = field_of(refused.content.decode(), "id_at")
    assert "Seen at is Sun" in words
    assert "Give 01:59 or earlier, or 03:00 or later." in words

    asked = send(at=doubled)
    assert asked.status_code == 422
    page = asked.content.decode()
    assert "the clock shows it twice" in field_of(page, "id_at")
    assert "The second, after the clock was put back" in field_of(page, "id_at_which")
    assert not TemperatureReading.objects.exists()

    assert send(at=doubled, at_which="later").status_code == 302
    at = datetime.fromisoformat(second).replace(tzinfo=UTC)
    assert TemperatureReading.objects.get().at == at
    assert send(at=doubled, at_which="earlier").status_code == 302
    assert TemperatureReading.objects.latest("pk").at == at - timedelta(hours=1)


def test_an_oven_is_neither_entered_nor_left_at_a_time_that_is_not(night, client, now):
    pour, skipped, doubled, second = night
    stay = OvenStay.objects.create(
        pour=pour, set_c=50, in_at=now - timedelta(days=300), recorded_at=now, key="in"
    )
    Pour.objects.update(status="curing")
    for address, name, body in (
        ("oven/", "oven_at", {"set_c": "50"}), (f"oven/{stay.pk}/out/", "out_at", {}),
    ):  # fmt: skip
        for at, words in ((skipped, "there is no such time"), (doubled, "shows it twice")):
            answer = client.post(f"/pours/{pour.pk}/{address}", {**body, "at": at})
            assert answer.status_code == 422
            assert words in field_of(answer.content.decode(), name)
    assert OvenStay.objects.get().out_at is None
    body = {"at": doubled, "at_which": "later"}
    assert client.post(f"/pours/{pour.pk}/oven/{stay.pk}/out/", body).status_code == 302
    assert OvenStay.objects.get().out_at == datetime.fromisoformat(second).replace(tzinfo=UTC)


@pytest.mark.parametrize("zone", NIGHTS)
def test_paper_takes_the_side_on_which_no_pot_lives_longer_and_no_lift_cures_sooner(zone):
    skipped, doubled, second = NIGHTS[zone]
    second = datetime.fromisoformat(second).replace(tzinfo=UTC)
    batch = SimpleNamespace(site=SimpleNamespace(time_zone=zone))

    def typed(text, twice, after=None, now=second + timedelta(days=1)):
        post = {"day": text[:10], "contact_at": text[11:]}
        paper = from_paper.Paper(batch, post, now, None, "k")
        return from_paper._moment(paper, "contact_at", "First contact at", after, twice)

    assert typed(doubled, "earlier") == second - timedelta(hours=1)
    assert typed(doubled, "later") == second
    between = second - timedelta(minutes=5)
    assert typed(doubled, "later", now=between) == second - timedelta(hours=1), "not yet"
    with pytest.raises(Invalid, match=r"First contact at is .* there is no such time"):
        typed(skipped, "later", now=second + timedelta(days=365))
    before = datetime.fromisoformat(skipped) - timedelta(days=1, hours=3)
    late = typed(
        f"{before:%Y-%m-%d}T00:10", "later",
        before.replace(hour=23, tzinfo=ZoneInfo(zone)), second + timedelta(days=365),
    )  # fmt: skip
    assert late.astimezone(ZoneInfo(zone)).date() == before.date() + timedelta(days=1)
    with pytest.raises(Invalid, match="which is ahead"):
        typed("9999-12-31T23:00", "later")


def test_what_is_out_of_use_is_so_as_long_as_may_be_meant(shop_site, client, now, monkeypatch):
    monkeypatch.setattr(clock, "now", lambda: now)
    user = make_user("planner", shop_site)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    mixer = Mixer.objects.filter(site=shop_site).first()
    row = {"thing": f"mixer:{mixer.pk}", "reason": "belt", "from_time": "02:10"}
    skipped = {**row, "from_day": "2027-03-28", "to_day": "2027-03-28", "to_time": "08:00"}
    answer = client.post("/changes/out_of_use/", skipped)
    assert answer.status_code == 422
    assert "From, time is Sun 28 Mar 2027 02:10; there is no such time" in (
        field_of(answer.content.decode(), "out_of_use_from_time")
    )
    doubled = {**row, "from_day": "2027-10-31", "to_day": "2027-10-31", "to_time": "02:50"}
    assert client.post("/changes/out_of_use/", doubled).status_code == 200
    out = Outage.objects.get()
    assert (out.starts_at, out.ends_at) == (
        datetime(2027, 10, 31, 0, 10, tzinfo=UTC), datetime(2027, 10, 31, 1, 50, tzinfo=UTC),
    )  # fmt: skip


def test_extra_hours_at_a_time_that_is_not_are_refused_by_their_field(
    shop_site, client, now, monkeypatch
):
    monkeypatch.setattr(clock, "now", lambda: now)
    user = make_user("planner", shop_site)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    person = Person.objects.filter(site=shop_site).first()
    row = {"person": person.pk, "day": "2027-03-28", "starts": "01:00", "reason": "inventory"}
    answer = client.post("/changes/extra_shift/", {**row, "ends": "02:30"})
    assert answer.status_code == 422
    assert "there is no such time" in field_of(answer.content.decode(), "extra_shift_ends")
    assert not DayChange.objects.exists()
    assert client.post("/changes/extra_shift/", {**row, "ends": "03:30"}).status_code == 200


def test_paper_and_reminders_say_which_of_two_times_is_meant():
    first, second = (datetime(2026, 10, 25, hour, 30, tzinfo=UTC) for hour in (0, 1))
    site = SimpleNamespace(time_zone="Europe/Berlin")
    order = SimpleNamespace(site=site)
    cure = SimpleNamespace(lift=SimpleNamespace(pour=SimpleNamespace(order=order)))
    for at, which in ((first, "first"), (second, "second")):
        assert clock_text(at, site.time_zone) == f"02:30 ({which})"
        assert day_clock_text(at, site.time_zone) == f"Sun 25 Oct 02:30 ({which})"
        assert wanted._wall(at, cure) == f"Sun 25 Oct 02:30 ({which})"


@pytest.mark.parametrize(("today", "days", "week", "offset"), [
    (date(2027, 3, 26), 5, "2027-W13", "+01:00"), (date(2026, 10, 23), 5, "2026-W44", "+02:00"),
])  # fmt: skip
def test_days_of_a_plan_begin_at_midnight_after_the_clocks_have_changed(
    take, shop_site, today, days, week, offset
):
    due_on = today + timedelta(days=days)
    pour = take(due_in_days=1)
    Pour.objects.filter(pk=pour.pk).update(due_on=due_on)
    now = clock.day_start(today, shop_site) + timedelta(hours=5)
    problem = problem_of_week(
        site=shop_site, week=week, now=now, settings=Settings(), limits=Limits()
    )
    assert problem.origin.endswith(offset)
    origin = datetime.fromisoformat(problem.origin)

    def minute(day):
        return (clock.day_start(day, shop_site) - origin).total_seconds() / 60

    assert problem.pours[0].due_min == minute(due_on + timedelta(days=1))
    assert problem.day_starts == tuple(
        minute(today + timedelta(days=n)) for n in range(len(problem.day_starts))
    )
    assert problem.horizon_min == minute(today + timedelta(days=len(problem.day_starts)))
