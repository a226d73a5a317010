"""When a lift is past its hottest moment, and that its reminder then ends."""

from datetime import timedelta
from decimal import Decimal

import pytest

from planning.batches.models import Batch, Lift
from planning.clocks import actions as clocks
from planning.clocks.asking import look
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


def test_the_careful_time_holds_where_nothing_was_measured(cure):
    look(cure, after(cure, -1))
    cure.refresh_from_db()
    assert cure.peak_passed_at is None
    over = cure.poured_at + timedelta(hours=4)
    look(cure, over)
    cure.refresh_from_db()
    assert (cure.peak_passed_at, cure.peak_basis) == (cure.peak_due_at, "computed")
    assert cure.peak_due_at <= over


def test_a_core_seen_to_rise_and_to_fall_for_good_is_past_its_peak(cure):
    log(cure, (5, "30"), (10, "45"), (15, "55"), (20, "53.5"))
    assert cure.peak_passed_at is None, "1.5 K may be the thermometer"
    log(cure, (25, "52.5"), (30, "51"), (35, "49"))
    assert cure.peak_passed_at == cure.poured_at + timedelta(minutes=35)
    assert cure.peak_basis == "the core has cooled"


def test_a_core_that_still_warms_is_not_past_its_peak_whatever_the_clock_says(cure):
    late = round((after(cure, 120) - cure.poured_at).total_seconds() / 60)
    log(cure, (10, "40"), (late, "60"))
    assert Cure.objects.get().peak_passed_at is None


def test_a_cooler_shop_takes_a_computed_peak_back(cure):
    over = cure.poured_at + timedelta(hours=4)
    look(cure, over)
    cure.refresh_from_db()
    due = cure.peak_due_at
    assert cure.peak_passed_at == due
    rows = [
        {"key": f"a{h}", "at": cure.poured_at + timedelta(hours=h), "celsius": Decimal(8),
         "where": "air", "confirmed": True}
        for h in range(4)
    ]  # fmt: skip
    clocks.log_temperatures(site_id=cure.lift.pour.order.site_id, rows=rows, now=over)
    cure.refresh_from_db()
    assert cure.peak_due_at > due
    assert cure.peak_passed_at is None


@pytest.fixture
def reminder(cure):
    """The peak falls after the last one has gone, and people have been told."""
    at = cure.poured_at + timedelta(days=1)
    Cure.objects.filter(pk=cure.pk).update(attend_until=at)
    refresh(cure.poured_at)
    found = Reminder.objects.get(kind="unattended_peak")
    Reminder.objects.filter(pk=found.pk).update(state="told", told_at=at)
    return found


def test_the_reminder_ends_with_the_peak_and_not_only_with_the_cure(cure, reminder):
    cure.refresh_from_db()
    refresh(after(cure, -1))
    reminder.refresh_from_db()
    assert reminder.state == "told"
    look(cure, cure.poured_at + timedelta(hours=4))
    refresh(cure.poured_at + timedelta(hours=4))
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
