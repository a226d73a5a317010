"""One round of all that reminders need done; any number of workers may go round at once."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import connection
from django.db.models import Q

from planning.clocks.asking import A_ROUND, look_at_waiting
from planning.reminders import actions, limits, wanted
from planning.reminders.models import Heartbeat, Reminder, ReminderState
from planning.reminders.sending import Clock, deliverable, send_due, worker_name
from planning.reminders.wanted import SOURCES
from shared import clock

HEARTBEAT = "reminders"
UNHURRIED = "unhurried reminders"


@dataclass(frozen=True)
class Round:
    """What one round did."""

    changed: int
    told: int
    escalated: int
    handled: int


def sweep(read_clock: Clock, worker: str = "") -> Round:
    """Bring reminders up to date, make messages of those due, send what is to be sent."""
    worker = worker or worker_name()
    beat(clock.now(), worker)
    while look_at_waiting(read_clock()) == A_ROUND:
        pass  # asked at the time announced: before anybody is told, and only then, it opens
    changed = actions.refresh(read_clock(), kinds_now(read_clock()))
    if limits.paused():
        return Round(changed, 0, 0, 0)
    told = escalated = 0
    while count := actions.tell_due(read_clock()):
        told += count
    while count := actions.escalate_due(read_clock()):
        escalated += count
    handled = send_due(read_clock, worker)
    return Round(changed, told, escalated, handled)


def send_now(read_clock: Clock, worker: str = "") -> int:
    """
    Tell what is due and send it, between two rounds; returns how many messages were handled.

    A round brings all reminders up to date, which takes long in a large company; what is known to
    be due need not wait for the next one. Nothing is written where nothing is due.
    """
    now = read_clock()
    if limits.paused():
        return 0
    if Reminder.objects.filter(state=ReminderState.WAITING, due_at__lte=now).exists():
        while actions.tell_due(read_clock()):
            pass
    if not deliverable(now).exists():
        return 0
    return send_due(read_clock, worker or worker_name())


def kinds_now(now: datetime) -> list[str]:
    """Return the kinds to read in this round; the unhurried ones fall to one worker in turn."""
    every = limits.UNHURRIED_EVERY
    Heartbeat.objects.get_or_create(
        name=UNHURRIED, defaults={"at": now - every - every, "worker": ""}
    )
    # A moment well ahead of now was written by a clock that has been set back since.
    is_time = Q(at__lte=now - every) | Q(at__gt=now + every)
    mine = Heartbeat.objects.filter(is_time, name=UNHURRIED).update(at=now)
    return [kind for kind in SOURCES if mine or kind not in wanted.UNHURRIED]


def beat(machine_now: datetime, worker: str) -> None:
    """Leave a sign of life, with how far this machine's clock is from the database's."""
    at = database_now(machine_now)
    apart = (machine_now - at).total_seconds()
    Heartbeat.objects.update_or_create(
        name=HEARTBEAT, defaults={"at": at, "worker": worker, "clock_apart_s": apart}
    )


def database_clock() -> Clock:
    """
    Return a clock that shows the database's time, so that all workers agree what is due.

    It is read once and then follows this machine's steady counter, which no one can set.
    """
    if connection.vendor != "postgresql":
        return clock.now
    began, counter = database_now(clock.now()), time.monotonic()
    return lambda: began + timedelta(seconds=time.monotonic() - counter)


def database_now(otherwise: datetime) -> datetime:
    """Return the database's own clock, `otherwise` where the database has none of its own."""
    if connection.vendor != "postgresql":
        return otherwise
    with connection.cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")
        found: datetime = cursor.fetchone()[0]
        return found
