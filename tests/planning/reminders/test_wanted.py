"""What is to be told is read from cures, coats, lots, tools and orders, and follows them."""

from datetime import date, timedelta

import pytest

from planning.clocks.models import Cure
from planning.pours.models import Pour
from planning.reminders import actions
from planning.reminders.models import Reminder
from planning.reminders.wanted import all_wanted
from tests.factories.shop import make_container, make_lot, make_tool
from tests.planning.reminders.castings import (
    HOUR,
    NOW,
    make_coat,
    make_cure,
    make_lift,
    make_order,
    make_pour,
    make_shop,
    the_reminder,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def site():
    return make_shop(time_zone="Europe/Berlin")


def dues(kind):
    return [one.due_at for one in all_wanted(NOW).values() if one.kind == kind]


def test_cure_complete_is_due_when_the_last_lift_has_cured(site):
    make_cure(make_pour(site))
    assert dues("cure_complete") == [NOW]
    assert dues("next_lift_opens") == dues("next_lift_closes") == []


def test_next_lift_is_told_of_while_it_is_not_cast(site):
    pour = make_pour(site, status="pouring")
    lower = make_cure(pour, poured_at=NOW)
    make_lift(pour, 2, NOW + 3 * HOUR)
    assert dues("next_lift_opens") == [NOW + 2 * HOUR]
    assert dues("next_lift_closes") == [NOW + 9 * HOUR]
    assert dues("cure_complete") == []
    Cure.objects.filter(pk=lower.pk).update(next_closes_at=NOW + 2.5 * HOUR)
    assert dues("next_lift_closes") == [NOW + 2 * HOUR]


def test_next_lift_is_not_told_of_once_it_is_cast(site):
    pour = make_pour(site, status="curing")
    make_cure(pour, poured_at=NOW)
    make_cure(pour, number=2, poured_at=NOW + 3 * HOUR)
    assert dues("next_lift_opens") == dues("next_lift_closes") == []
    assert dues("cure_complete") == [NOW + 27 * HOUR]


def test_coat_is_dry_until_something_follows_it(site):
    pour = make_pour(site, status="planned")
    make_coat(pour, 1)
    assert dues("coats_dry") == [NOW]
    make_coat(pour, 2, done_at=NOW)
    assert dues("coats_dry") == [NOW + HOUR]


@pytest.mark.parametrize(
    ("poured_at", "peak_after", "due"),
    [
        pytest.param(NOW, 1 * HOUR, [], id="peaks in the shift"),
        pytest.param(NOW + 5 * HOUR, 2 * HOUR, [NOW + 5.5 * HOUR], id="peaks after four"),
        pytest.param(NOW + 8 * HOUR, 1 * HOUR, [NOW + 8 * HOUR], id="poured when all had left"),
    ],
)
def test_peak_with_nobody_in_is_told_before_the_last_one_leaves(site, poured_at, peak_after, due):
    make_cure(make_pour(site), poured_at=poured_at, peak_due_at=poured_at + peak_after)
    assert dues("unattended_peak") == due


def test_container_is_told_of_a_fortnight_before_its_first_clock_ends(site):
    lot = make_lot(site, expires_on=date(2026, 12, 20))
    kept = make_container(lot, holds=5)
    make_container(lot)
    make_container(make_lot(site, expires_on=date(2026, 12, 20), status="held"), holds=5)
    # Good to the end of 20 December in Berlin, which is 23:00 UTC.
    last = NOW.replace(month=12, day=20, hour=23)
    assert [one for one in all_wanted(NOW) if one.startswith("lot")] == []
    soon = NOW + timedelta(days=12)
    found = [one for one in all_wanted(soon).values() if one.kind == "lot_expires"]
    assert [(one.subject, one.due_at) for one in found] == [
        (f"container:{kept.pk}", last - timedelta(days=14))
    ]
    assert found[0].words.startswith("5 kg left of lot ")
    assert found[0].words.endswith("usable until Mon 21 Dec 2026 00:00.")


def test_tool_is_due_when_its_shots_since_the_last_coat_reach_the_limit(site):
    from shop.tools.actions import add_event

    tool = make_tool(site, shots_per_coat=10, shots_per_inspection=100)
    for n, shots in enumerate((6, 5)):
        at = NOW - (5 - n) * HOUR
        add_event(tool_id=tool.pk, kind="shots", key=f"s{n}", at=at, shots=shots)
    assert dues("tool_due") == [NOW - 4 * HOUR]
    assert "11 shots since the last; a re-coat is due after 10." in [
        one.words for one in all_wanted(NOW).values()
    ]
    add_event(tool_id=tool.pk, kind="coat", key="c", at=NOW)
    assert dues("tool_due") == []
    add_event(tool_id=tool.pk, kind="shots", key="s9", at=NOW + HOUR, shots=89)
    (need,) = (one for one in all_wanted(NOW).values() if one.kind == "tool_due")
    assert need.title == f"{tool.name} is due for a re-coat and an inspection"
    assert need.words.endswith("100 shots since the last; an inspection is due after 100.")


def test_open_order_is_late_at_the_end_of_its_day(site):
    make_order(site, due_on=date(2026, 11, 24))
    make_order(site, due_on=date(2026, 11, 24), status="done")
    assert dues("order_late") == [NOW.replace(day=24, hour=23)]


def test_reminder_moves_with_the_clock_it_follows(site):
    cure = make_cure(make_pour(site), poured_at=NOW)
    actions.refresh(NOW)
    Cure.objects.filter(pk=cure.pk).update(demould_due_at=NOW + 30 * HOUR)
    actions.refresh(NOW)
    reminder = the_reminder("cure_complete")
    assert (reminder.due_at, reminder.version, reminder.state) == (NOW + 30 * HOUR, 2, "waiting")
    assert actions.refresh(NOW) == 0


def test_reminder_told_too_early_is_told_again_when_its_clock_moves_later(site):
    cure = make_cure(make_pour(site))
    actions.refresh(NOW)
    actions.tell_due(NOW)
    assert the_reminder("cure_complete").state == "told"
    Cure.objects.filter(pk=cure.pk).update(demould_due_at=NOW + HOUR)
    actions.refresh(NOW)
    reminder = the_reminder("cure_complete")
    assert (reminder.state, reminder.version) == ("waiting", 2)
    actions.tell_due(NOW + HOUR)
    versions = reminder.items.filter(channel="today").values_list("version", flat=True)
    assert sorted(versions) == [1, 2]


def test_reminder_of_a_cancelled_pour_is_cancelled(site):
    pour = make_pour(site)
    make_cure(pour, poured_at=NOW)
    actions.refresh(NOW)
    Pour.objects.filter(pk=pour.pk).update(status="cancelled")
    actions.refresh(NOW)
    of_cure = Reminder.objects.filter(kind__in=["cure_complete", "unattended_peak"])
    assert set(of_cure.values_list("state", flat=True)) == {"cancelled"}


def test_reminder_is_over_once_the_casting_is_out(site):
    cure = make_cure(make_pour(site))
    actions.refresh(NOW)
    actions.tell_due(NOW)
    Cure.objects.filter(pk=cure.pk).update(done_at=NOW)
    actions.refresh(NOW)
    assert the_reminder("cure_complete").state == "over"


def test_two_refreshes_at_once_make_one_reminder(site):
    make_cure(make_pour(site))
    wanted = all_wanted(NOW)
    rows = [actions._new(one, NOW) for one in wanted.values()]
    Reminder.objects.bulk_create(rows, ignore_conflicts=True)
    actions.refresh(NOW)
    assert Reminder.objects.count() == len(wanted) == 2


def test_many_running_clocks_ask_no_more_than_few(site, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    make_cure(make_pour(site), poured_at=NOW)
    with CaptureQueriesContext(connection) as few:
        all_wanted(NOW, ["unattended_peak"])
    for _ in range(12):
        make_cure(make_pour(site), poured_at=NOW)
    with django_assert_num_queries(len(few)):
        all_wanted(NOW, ["unattended_peak"])
