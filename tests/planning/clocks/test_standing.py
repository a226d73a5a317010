"""One answer on when a casting may be poured over and taken off, wherever it is asked."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db.models import F

from planning.batch_sheets.queries import demoulds_of
from planning.batches.models import Lift
from planning.clocks import actions as clocks
from planning.clocks import asking
from planning.clocks.models import Cure
from planning.clocks.standing import running, standing
from planning.cures import actions
from planning.pours.models import Pour
from planning.reminders import actions as reminders
from planning.reminders.models import Reminder
from planning.reminders.wanted import cures_complete, lifts_close, lifts_open
from planning.schedule.core_values import _cure_min
from planning.today.queries import curing
from shared.errors import ShopError
from tests.factories.clocks import open_for_next, ready

HOUR = timedelta(hours=1)


@pytest.fixture
def lifts(take, planned):
    """A casting of two lifts, none poured yet."""
    planned(take(depth_mm="60"))
    found = list(Lift.objects.order_by("number"))
    assert len(found) == 2
    return found


@pytest.fixture
def late_below(lifts, monkeypatch):
    """Both lifts are poured, and the clock of the lower one runs 5 h longer than the upper's."""
    lower, _ = (clocks.start_clock(lift=lift, poured_at=lift.planned_end) for lift in lifts)
    pour = Pour.objects.get()
    assert pour.status == "curing"
    due = ready(pour) + 5 * HOUR
    slower = {"demould_due_at": due, "waits_for": "", "basis": "the slower one below"}
    Cure.objects.filter(pk=lower.pk).update(**slower)
    monkeypatch.setattr(asking, "look", only_of_the_upper(lower.pk))
    return pour, due


def only_of_the_upper(lower):
    """Ask for the lower lift as it stands in its row."""

    def look(cure, now):
        if cure.pk != lower:
            return asked(cure, now)
        return bool(Cure.objects.filter(pk=lower).update(looked_at=now))

    asked = asking.look
    return look


def test_the_latest_clock_of_all_lifts_decides_everywhere(late_below, shop_site):
    pour, due = late_below
    before = due - HOUR
    assert standing(pour).ready_at == due
    assert standing(pour).last.basis == "the slower one below"
    (row,) = demoulds_of(shop_site, due.date() + timedelta(days=1), before)
    assert (row["due_at"], row["ready"]) == (due, False)
    (row,) = curing(running(order__site=shop_site), before)
    assert (row["ready_at"], row["words"]) == (due, "Leave it alone")
    (told,) = cures_complete(before)
    assert told.due_at == due
    top = standing(pour).top
    assert _cure_min(pour) == round((due - top.poured_at).total_seconds() / 60)


def test_the_upper_lifts_clock_alone_lets_nothing_be_taken_off(late_below):
    pour, due = late_below
    for early in (due - HOUR, due - timedelta(minutes=1)):
        with pytest.raises(ShopError) as refusal:
            actions.demould(pour=pour, key="k", at=early, now=early, verdict="accept")
        assert refusal.value.code == "not_cured"
    assert actions.demould(pour=pour, key="k", at=due, now=due, verdict="accept")


def test_the_lower_lifts_clock_alone_lets_nothing_be_taken_off(lifts, shop_site, monkeypatch):
    lower, _ = (clocks.start_clock(lift=lift, poured_at=lift.planned_end) for lift in lifts)
    pour, now = Pour.objects.get(), lifts[1].planned_end + HOUR
    quick = {"demould_due_at": now - HOUR, "waits_for": "", "looked_at": now}
    Cure.objects.filter(pk=lower.pk).update(**quick)
    monkeypatch.setattr(asking, "look", only_of_the_upper(lower.pk))
    assert Cure.objects.get(pk=lower.pk).passed(now - HOUR, now)
    with pytest.raises(ShopError) as refusal:
        actions.demould(pour=pour, key="k", at=now, now=now, verdict="accept")
    assert refusal.value.code == "not_cured"
    stands = standing(pour)
    assert not stands.may_demould(now)
    assert stands.ready_at is None
    assert stands.last == stands.top
    (row,) = curing(running(order__site=shop_site), now)
    assert row["words"] == "Leave it alone"
    due = ready(pour)
    assert due > now
    assert actions.demould(pour=pour, key="k", at=due, now=due, verdict="accept")


def test_a_casting_that_misses_a_lift_is_never_ready(lifts, shop_site):
    cure = clocks.start_clock(lift=lifts[0], poured_at=lifts[0].planned_end)
    long_after = cure.cured_due_at + 100 * HOUR
    stands = standing(cure.lift.pour)
    assert stands.ready_at is None
    assert not stands.may_demould(long_after)
    assert list(cures_complete(long_after)) == []
    assert demoulds_of(shop_site, long_after.date(), long_after) == []


def test_the_next_lift_waits_for_every_lift_below(lifts, shop_site):
    cure = clocks.start_clock(lift=lifts[0], poured_at=lifts[0].planned_end)
    (row,) = curing(running(order__site=shop_site), cure.poured_at)
    assert row["opens_at"] == cure.next_opens_at
    (told,) = lifts_open(cure.poured_at)
    assert told.due_at == cure.next_opens_at
    assert "still bonds until" in told.words
    assert len(list(lifts_close(cure.poured_at))) == 1


def test_a_lift_below_that_opens_later_holds_the_next_one_back(lifts):
    lower, upper = (clocks.start_clock(lift=lift, poured_at=lift.planned_end) for lift in lifts)
    later = upper.next_opens_at + 5 * HOUR
    looked = {"looked_at": later + 2 * HOUR}
    Cure.objects.filter(pk=lower.pk).update(next_opens_at=later, **looked)
    Cure.objects.filter(pk=upper.pk).update(**looked)
    stands = standing(Pour.objects.get())
    assert stands.opens_at == later
    assert stands.top.passed(stands.top.next_opens_at, later - HOUR)
    assert not stands.may_pour_over(later - HOUR)
    assert stands.may_pour_over(later)


def test_a_window_that_closes_before_it_opens_is_said_as_such(lifts, shop_site):
    cure = clocks.start_clock(lift=lifts[0], poured_at=lifts[0].planned_end)
    Cure.objects.filter(pk=cure.pk).update(next_closes_at=F("next_opens_at") - HOUR)
    (one,) = running(order__site=shop_site)
    assert one.no_window
    (told,) = lifts_open(cure.poured_at)
    assert told.due_at == cure.next_opens_at
    assert "stops bonding before" in told.words
    assert "abrade first" in told.words
    assert "still bonds" not in told.words
    assert list(lifts_close(cure.poured_at)) == []


@pytest.fixture
def single(take, planned):
    """A casting of one lift whose system is known by its data sheet alone."""
    planned(take())
    lift = Lift.objects.get()
    return clocks.start_clock(lift=lift, poured_at=lift.planned_end)


def test_who_must_measure_is_told_when_it_makes_sense_and_once(single):
    pour, due = single.lift.pour, single.cured_due_at
    (told,) = cures_complete(single.poured_at)
    assert told.due_at == due
    assert told.title.endswith("measure its face")
    assert "at most 43 °C" in told.words
    at = ready(pour)
    (told,) = cures_complete(at)
    assert told.title.endswith("may be demoulded")
    assert told.due_at <= at
    assert told.sure


def test_nobody_is_told_by_a_clock_that_was_not_asked_at_its_time(single):
    """The stored time has come; asked again, the casting is not ready."""
    at = single.poured_at + 3 * HOUR
    early = {"demould_due_at": at - HOUR, "waits_for": ""}
    Cure.objects.filter(pk=single.pk).update(**early)
    (told,) = cures_complete(at)
    assert told.due_at <= at
    assert not told.sure
    reminders.refresh(at, ["cure_complete"])
    assert reminders.tell_due(at) == 0
    assert Reminder.objects.get(kind="cure_complete").state == "waiting"
    asking.look_at_waiting(at)
    reminders.refresh(at, ["cure_complete"])
    reminder = Reminder.objects.get(kind="cure_complete")
    assert (reminder.state, reminder.due_at > at) == ("waiting", True)


def test_many_clocks_wait_for_the_worker_and_are_shut_until_then(take, planned, shop_site):
    planned(*(take(f"M-{n}", due_in_days=6) for n in range(5)))
    rows = [clocks.start_clock(lift=x, poured_at=x.planned_end) for x in Lift.objects.all()]
    assert len(rows) > asking.AT_ONCE
    last = max(cure.poured_at for cure in rows)
    air = {"key": "air", "at": last, "celsius": Decimal(20), "where": "air"}
    clocks.log_temperatures(site_id=shop_site.pk, rows=[air], now=last)
    assert not Cure.objects.filter(looked_at__isnull=False).exists()
    assert all(one.is_asked_again for one in running(order__site=shop_site))
    assert asking.look_at_waiting(last) == len(rows)
    assert not Cure.objects.filter(looked_at__isnull=True).exists()


@pytest.mark.parametrize("seconds", ["0", "12.790397", "59.999999"])
def test_whoever_comes_at_the_minute_told_is_not_sent_away(take, planned, seconds):
    """Poured at any second: what is told opens on a whole minute, and not before."""
    planned(take(depth_mm="30"))
    lift = Lift.objects.get()
    cure = clocks.start_clock(
        lift=lift, poured_at=lift.planned_end + timedelta(seconds=float(seconds))
    )
    for due in (cure.next_opens_at, cure.cured_due_at, cure.peak_due_at):
        assert (due.second, due.microsecond) == (0, 0)
    opened = open_for_next(lift.pour)
    assert (opened.second, opened.microsecond) == (0, 0)
    assert not standing(lift.pour).may_pour_over(opened - timedelta(microseconds=1))
