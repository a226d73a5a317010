"""When a lift is past its hottest moment, and that its reminder then ends."""

from datetime import timedelta
from decimal import Decimal

import pytest

from planning.batches.models import Batch, Lift
from planning.clocks import actions as clocks
from planning.clocks import peaks
from planning.clocks.models import Cure
from planning.reminders.actions import refresh
from planning.reminders.models import Reminder
from tests.conftest import make_user


@pytest.fixture
def cure(planned):
    planned()
    lift = Lift.objects.get()
    found = clocks.start_clock(lift=lift, poured_at=Batch.objects.get().planned_pour_end)
    assert found.peak_due_at - found.poured_at >= timedelta(minutes=20)
    return found


def log(cure, *rows, where="core", now=None):
    """Write down rows of minutes after pouring and °C."""
    last = now or cure.poured_at + timedelta(minutes=rows[-1][0])
    found = [
        {
            "key": f"t{where}{minutes}",
            "at": cure.poured_at + timedelta(minutes=minutes),
            "celsius": Decimal(celsius),
            "where": where,
            "pour": cure.lift.pour,
        }
        for minutes, celsius in rows
    ]
    clocks.log_temperatures(site_id=cure.lift.pour.order.site_id, rows=found, now=last)
    cure.refresh_from_db()
    return cure


def after(cure, minutes):
    return cure.peak_due_at + timedelta(minutes=minutes)


def test_the_plans_clock_holds_where_nothing_was_measured(cure):
    assert peaks.note_peaks(after(cure, -1)) == 0
    assert peaks.note_peaks(after(cure, 0)) == 1
    cure.refresh_from_db()
    assert (cure.peak_passed_at, cure.peak_basis) == (cure.peak_due_at, "computed")
    assert peaks.note_peaks(after(cure, 5)) == 0


def test_a_core_that_cools_by_2_k_is_past_its_peak_before_the_clock_says_so(cure):
    log(cure, (5, "40"), (10, "55"), (12, "53.5"))
    assert cure.peak_passed_at is None, "1.5 K may be the thermometer"
    log(cure, (14, "53"))
    assert cure.peak_passed_at == cure.poured_at + timedelta(minutes=14)
    assert cure.peak_basis == "core of the casting 53.0 °C after 55.0 °C"


def test_a_core_that_still_warms_is_not_past_its_peak_whatever_the_clock_says(cure):
    minutes = round((after(cure, 10) - cure.poured_at).total_seconds() / 60)
    log(cure, (10, "40"), (minutes, "60"))
    assert peaks.note_peaks(after(cure, 11)) == 0
    assert Cure.objects.get().peak_passed_at is None


def test_a_cooler_shop_takes_a_computed_peak_back(cure):
    peaks.note_peaks(after(cure, 0))
    due = cure.peak_due_at
    row = {"key": "a", "at": cure.poured_at, "celsius": Decimal(10), "where": "air"}
    clocks.log_temperatures(site_id=cure.lift.pour.order.site_id, rows=[row], now=due)
    cure.refresh_from_db()
    assert cure.peak_due_at > due
    assert cure.peak_passed_at is None


@pytest.fixture
def reminder(cure):
    """The peak falls after the last one has gone, and people have been told."""
    at = cure.poured_at + timedelta(days=1)
    Cure.objects.filter(pk=cure.pk).update(peak_due_at=at)
    refresh(cure.poured_at)
    found = Reminder.objects.get(kind="unattended_peak")
    Reminder.objects.filter(pk=found.pk).update(state="told", told_at=at)
    return found


def test_the_reminder_ends_with_the_peak_and_not_only_with_the_cure(cure, reminder):
    cure.refresh_from_db()
    refresh(after(cure, -1))
    reminder.refresh_from_db()
    assert reminder.state == "told"
    peaks.note_peaks(after(cure, 0))
    refresh(after(cure, 1))
    reminder.refresh_from_db()
    assert reminder.state == "over"
    assert Cure.objects.get().done_at is None


def test_who_saw_it_pass_says_so_by_page_or_rest(cure, reminder, client):
    import time_machine

    user = make_user("technician", cure.lift.pour.order.site)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    at = cure.poured_at + timedelta(hours=3)
    pour = f"/pours/{cure.lift.pour_id}/"
    with time_machine.travel(at, tick=False):
        assert "peak over" in client.get(pour).content.decode()
        wrong = client.post(
            f"/api/v1/cures/{cure.pk}/peaks",
            {"at": (cure.poured_at - timedelta(hours=1)).isoformat()},
            content_type="application/json",
            headers={"Idempotency-Key": "peak-too-early-0001"},
        )
        assert wrong.status_code == 422
        assert "was poured" in wrong.json()["detail"]
        answer = client.post(f"{pour}lifts/1/peak/", follow=True)
        assert "past its peak" in answer.content.decode()
        seen = client.post(
            f"/api/v1/cures/{cure.pk}/peaks",
            {},
            content_type="application/json",
            headers={"Idempotency-Key": "peak-seen-000000001"},
        )
    assert seen.status_code == 201
    assert seen.json()["peak_basis"] == f"seen by {user}"
    refresh(at)
    reminder.refresh_from_db()
    assert reminder.state == "over"
