"""Workers that die, messages that fail, clocks that move: nothing is lost, doubles say so."""

import smtplib
from datetime import datetime, timedelta

import pytest
from django.core import mail

from planning.clocks.models import Cure
from planning.pours.models import Pour
from planning.reminders import actions, kill_points, limits
from planning.reminders.models import Delivery, Reminder
from planning.reminders.sending import claim, send_due
from planning.reminders.sweep import send_now, sweep
from tests.planning.reminders.castings import HOUR, NOW, make_cure, make_pour, make_shop

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(minutes=3)
"""When the lease of a worker that died at NOW has run out."""


class Killed(BaseException):
    """A worker was killed at this point."""


class Clock:
    """A clock that stands until a test sets it."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def cure():
    """Return a cure that is complete now, with a technician to be told by mail."""
    site = make_shop(time_zone="UTC")
    return make_cure(make_pour(site), peak_passed_at=NOW - 20 * HOUR)


@pytest.fixture(autouse=True)
def _nobody_listens():
    yield
    kill_points.forget()


def kill_at(point):
    def listener(name):
        if name == point:
            kill_points.forget()
            raise Killed

    kill_points.listen(listener)


def sent():
    return [(m.subject, m.extra_headers["Message-ID"]) for m in mail.outbox]


def the_mail():
    return Delivery.objects.get(channel="email", items__escalated=False)


TITLE = "{} may be demoulded"


def test_due_reminder_is_mailed_once(cure, clock):
    sweep(clock)
    sweep(clock)
    ((subject, _),) = sent()
    assert subject == TITLE.format(cure.lift.pour)
    assert the_mail().state == "sent"
    text = mail.outbox[0].body
    assert "Due Wed 25 Nov 2026, 09:00 UTC" in text
    assert "measure its hardness first. Follow the safety data sheet" in text
    assert "http://localhost:8000/reminders/" in text


@pytest.mark.parametrize("point", kill_points.POINTS)
def test_worker_killed_at_any_point_loses_nothing_and_doubles_say_so(cure, clock, point):
    kill_at(point)
    with pytest.raises(Killed):
        sweep(clock)
    sweep(clock)
    clock.now = LATER
    sweep(clock)
    subjects = [subject for subject, _ in sent()]
    title = TITLE.format(cure.lift.pour)
    if point == "handed_over":
        assert subjects == [title, f"Sent again: {title}"]
        assert "not known whether an earlier copy arrived" in mail.outbox[1].body
    elif point == "marked":
        assert subjects == [f"Sent again: {title}"]
    else:
        assert subjects == [title]
    assert len({message_id for _, message_id in sent()}) == 1
    assert the_mail().state == "sent"
    assert the_mail().doubtful is (point in ("marked", "handed_over"))
    assert Delivery.objects.filter(channel="today", state="sent").count() == 1


def test_held_message_is_left_alone_until_the_lease_runs_out(cure, clock):
    actions.refresh(NOW)
    actions.tell_due(NOW)
    assert len(claim(NOW, "one", 10)) == 1
    assert claim(NOW + limits.lease(), "two", 10) == []
    (again,) = claim(NOW + limits.lease() + timedelta(seconds=1), "two", 10)
    assert (again.attempts, again.doubtful) == (2, False)


def test_worker_whose_lease_went_to_another_writes_nothing(cure, clock):
    actions.refresh(NOW)
    actions.tell_due(NOW)

    def other_takes_it(point):
        if point == "rendered":
            kill_points.forget()
            claim(LATER, "other", 10)

    kill_points.listen(other_takes_it)
    send_due(clock, "slow")
    assert sent() == []
    assert (the_mail().state, the_mail().claimed_by) == ("claimed", "other")


def test_a_lease_is_renewed_while_the_worker_lives(cure, clock):
    """A slow receiver before it in the row must not let the rest lapse under a living worker."""
    actions.refresh(NOW)
    actions.tell_due(NOW)

    def slow(point):
        if point == "claimed":
            kill_points.forget()
            clock.now = NOW + limits.lease() * 0.9
            kill_points.listen(
                lambda point: point == "rendered" and taken.append(claim(after, "other", 10))
            )

    taken = []
    after = NOW + limits.lease() * 1.1
    kill_points.listen(slow)
    assert send_due(clock, "slow") == 1
    assert taken == [[]]
    assert (the_mail().state, the_mail().attempts) == ("sent", 1)


def test_what_is_due_is_sent_between_two_rounds_and_idle_looks_write_nothing(
    cure, clock, django_assert_num_queries
):
    actions.refresh(NOW)
    clock.now = NOW - timedelta(seconds=1)
    with django_assert_num_queries(2):
        assert send_now(clock) == 0
    clock.now = NOW
    assert send_now(clock) == 1
    assert len(sent()) == 1
    with django_assert_num_queries(2):
        assert send_now(clock) == 0


CHANGES = {
    "cure moved later": lambda cure: Cure.objects.update(demould_due_at=NOW + HOUR),
    "pour cancelled": lambda cure: Pour.objects.update(status="cancelled"),
    "demoulded": lambda cure: Cure.objects.update(done_at=NOW),
    "confirmed": lambda cure: Reminder.objects.filter(kind="cure_complete").update(
        state="confirmed"
    ),
    "moved and swept": lambda cure: (
        Cure.objects.update(demould_due_at=NOW + HOUR),
        actions.refresh(NOW),
    ),
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_change_between_claim_and_sending_stops_the_message(cure, clock, change):
    def meanwhile(point):
        if point == "claimed":
            kill_points.forget()
            change(cure)

    kill_points.listen(meanwhile)
    sweep(clock)
    assert sent() == []
    assert the_mail().state == "dropped"


@pytest.mark.parametrize("change", ["confirmed", "moved and swept"])
def test_change_after_the_message_was_written_stops_it_too(cure, clock, change):
    def meanwhile(point):
        if point == "rendered":
            kill_points.forget()
            CHANGES[change](cure)

    kill_points.listen(meanwhile)
    sweep(clock)
    assert sent() == []
    assert the_mail().state == "dropped"


def test_each_message_of_a_slow_run_is_looked_at_again(cure, clock):
    other = make_cure(
        make_pour(cure.lift.pour.order.site), peak_passed_at=NOW, poured_at=NOW - 24 * HOUR
    )

    def slow(point):
        if point == "stamped":
            kill_points.forget()
            clock.now += limits.SEEN_FOR + timedelta(seconds=1)
            Pour.objects.filter(pk=other.lift.pour_id).update(status="cancelled")

    kill_points.listen(slow)
    sweep(clock)
    assert [subject for subject, _ in sent()] == [TITLE.format(cure.lift.pour)]


def test_moved_cure_is_mailed_again_at_its_new_time(cure, clock):
    CHANGES["moved and swept"](cure)
    sweep(clock)
    assert sent() == []
    clock.now = NOW + HOUR
    sweep(clock)
    assert len(sent()) == 1


class FailingServer:
    def __init__(self, error):
        self.error = error

    def __call__(self, *args, **values):
        raise self.error


@pytest.fixture
def server(monkeypatch):
    def fail(error):
        monkeypatch.setattr("django.core.mail.EmailMessage.send", FailingServer(error))

    return fail


def test_failure_is_tried_ten_times_over_three_days_and_then_shown(cure, clock, server):
    server(ConnectionRefusedError("nobody listens"))
    started, tries = clock.now, 0
    while the_mail_or_none() is None or the_mail().state != "failed":
        sweep(clock)
        tries += 1
        clock.now = max(clock.now, the_mail().try_at) + timedelta(seconds=1)
        assert tries < 20
    assert the_mail().attempts == 10
    assert "The mail server did not take it: nobody listens" in the_mail().error
    assert timedelta(hours=75, minutes=35) < clock.now - started < timedelta(hours=84)
    assert not the_mail().doubtful


def the_mail_or_none():
    return Delivery.objects.filter(channel="email", items__escalated=False).first()


@pytest.mark.parametrize(
    ("error", "state", "doubtful"),
    [
        pytest.param(TimeoutError("slow"), "waiting", True, id="broken off: may have arrived"),
        pytest.param(smtplib.SMTPServerDisconnected("gone"), "waiting", True, id="hung up"),
        pytest.param(smtplib.SMTPDataError(451, b"later"), "waiting", False, id="put off"),
        pytest.param(smtplib.SMTPRecipientsRefused({}), "failed", False, id="no such person"),
    ],
)
def test_what_the_mail_server_says_decides_what_is_known(
    cure, clock, server, error, state, doubtful
):
    server(error)
    sweep(clock)
    assert (the_mail().state, the_mail().doubtful) == (state, doubtful)


def test_after_an_outage_the_message_says_how_late_it_is(cure, clock):
    make_cure(
        make_pour(cure.lift.pour.order.site),
        poured_at=NOW - 25 * HOUR,
        peak_passed_at=NOW - 20 * HOUR,
    )
    clock.now = NOW + 72 * HOUR
    sweep(clock)
    ((subject, _),) = sent()
    assert subject == "2 reminders, late"
    assert "told 4320 min late" in mail.outbox[0].body
    assert "told 4380 min late" in mail.outbox[0].body


@pytest.mark.parametrize("step", [HOUR, -HOUR, timedelta(days=3), timedelta(days=-3)])
def test_clock_that_jumps_neither_loses_nor_doubles(cure, clock, step):
    sweep(clock)
    clock.now += step
    sweep(clock)
    clock.now = NOW
    sweep(clock)
    first = [subject for subject, _ in sent() if not subject.startswith("Nobody has confirmed")]
    assert len(first) == 1


def test_paused_shop_tells_nothing_and_loses_nothing(cure, clock, settings):
    settings.REMINDERS_PAUSED = True
    sweep(clock)
    assert sent() == []
    settings.REMINDERS_PAUSED = False
    sweep(clock)
    assert len(sent()) == 1


def test_replayed_sweeps_do_nothing_more(cure, clock):
    for _ in range(3):
        sweep(clock, "the same worker")
    assert len(sent()) == 1
