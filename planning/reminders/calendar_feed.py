"""A person's calendar: pours and reminders as RFC 5545 events, in UTC."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from django.db.models import Q
from icalendar import Alarm, Calendar, Event

from planning.batches.models import Batch, BatchStatus
from planning.reminders import limits
from planning.reminders.models import Channel, Reminder, ReminderSettings, ReminderState
from planning.reminders.queries import choices_of
from shared.access.models import Site, User

LASTS = timedelta(minutes=15)
"""How long a reminder is drawn in the calendar."""


def feed_of(user: User, now: datetime) -> bytes:
    """Return the calendar of a person over all their sites, as of now."""
    calendar = Calendar()
    calendar.add("prodid", "-//casting shop planner//reminders//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", "Casting shop")
    calendar.add("refresh-interval", timedelta(minutes=30), parameters={"VALUE": "DURATION"})
    for site in Site.objects.filter(memberships__user=user).distinct().order_by("code"):
        chosen = [c.kind for c in choices_of(user, site) if Channel.CALENDAR in c.channels]
        for batch in _batches(site, now):
            calendar.add_component(_pour_event(batch, now))
        for reminder in _reminders(site, chosen, now):
            calendar.add_component(_reminder_event(reminder, now))
    text: bytes = calendar.to_ical()
    return text


def owner_of(digest: str) -> User | None:
    """Return whose feed a token's digest opens, if it still does."""
    if not digest:
        return None
    own = ReminderSettings.objects.select_related("user").filter(feed_digest=digest).first()
    return own.user if own is not None and own.user.is_active else None


def _batches(site: Site, now: datetime) -> list[Batch]:
    since = now - limits.KEEP_CANCELLED
    rows = Batch.objects.filter(site=site, planned_pour_start__gte=since)
    return list(rows.prefetch_related("portions__lift__pour__order").order_by("planned_start"))


def _reminders(site: Site, kinds: list[str], now: datetime) -> list[Reminder]:
    since = now - limits.KEEP_CANCELLED
    lately = Q(due_at__gte=since) | Q(state=ReminderState.CANCELLED, changed_at__gte=since)
    rows = Reminder.objects.filter(lately, site=site, kind__in=kinds)
    return list(rows.select_related("site"))


def _event(uid: str, sequence: int, start: datetime, end: datetime, now: datetime) -> Event:
    event = Event()
    event.add("uid", uid)
    event.add("sequence", sequence)
    event.add("dtstamp", now.astimezone(UTC))
    event.add("dtstart", start.astimezone(UTC))
    event.add("dtend", end.astimezone(UTC))
    return event


def _host() -> str:
    return limits.public_url().partition("://")[2].partition(":")[0]


def _pour_event(batch: Batch, now: datetime) -> Event:
    names = ", ".join(dict.fromkeys(str(p.lift.pour) for p in batch.portions.all()))
    end = max(batch.planned_end, batch.planned_start + timedelta(minutes=1))
    uid = f"batch-{batch.pk}@{_host()}"
    event = _event(uid, batch.version - 1, batch.planned_start, end, now)
    event.add("summary", f"Batch {batch.number}: {names}")
    event.add(
        "description",
        f"{batch.mixed_kg.normalize():f} kg, first contact "
        f"{batch.planned_contact:%H:%M} UTC. Follow the safety data sheet.",
    )
    off = batch.status in (BatchStatus.CANCELLED, BatchStatus.SCRAPPED)
    event.add("status", "CANCELLED" if off else "CONFIRMED")
    return event


def _reminder_event(reminder: Reminder, now: datetime) -> Event:
    uid = f"{reminder.key.replace(':', '-')}@{_host()}"
    event = _event(uid, reminder.version - 1, reminder.due_at, reminder.due_at + LASTS, now)
    event.add("last-modified", reminder.changed_at.astimezone(UTC))
    event.add("summary", reminder.title)
    event.add("description", reminder.words)
    if reminder.path:
        event.add("url", limits.public_url() + reminder.path)
    off = reminder.state == ReminderState.CANCELLED
    event.add("status", "CANCELLED" if off else "CONFIRMED")
    if reminder.state == ReminderState.WAITING:
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("trigger", timedelta(0))
        alarm.add("description", reminder.title)
        event.add_component(alarm)
    return event
