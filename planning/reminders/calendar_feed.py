"""
A person's calendar: pours and reminders as RFC 5545 events, in the time of each site.

An event's identity is a UUID (RFC 7986, 5.3) of the site's own number and the row's, so that the
calendars of two shops never take each other's events for their own.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import uuid5

from django.db.models import Q
from icalendar import Alarm, Calendar, Event

from planning.batches.models import Batch, BatchStatus
from planning.reminders import limits
from planning.reminders.models import Channel, Reminder, ReminderSettings, ReminderState
from planning.reminders.queries import choices_of
from shared import clock
from shared.access.models import Site, User
from shared.templatetags.units import mass

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
    calendar.add_missing_timezones()
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
    return list(
        rows.select_related("site")
        .prefetch_related("portions__lift__pour__order")
        .order_by("planned_start")
    )


def _reminders(site: Site, kinds: list[str], now: datetime) -> list[Reminder]:
    since = now - limits.KEEP_CANCELLED
    lately = Q(due_at__gte=since) | Q(state=ReminderState.CANCELLED, changed_at__gte=since)
    rows = Reminder.objects.filter(lately, site=site, kind__in=kinds)
    return list(rows.select_related("site"))


def _event(
    site: Site, name: str, sequence: int, start: datetime, end: datetime, now: datetime
) -> Event:
    event = Event()
    event.add("uid", str(uuid5(site.uid, name)))
    event.add("sequence", sequence)
    event.add("dtstamp", now.astimezone(UTC))
    event.add("dtstart", clock.local(start, site))
    event.add("dtend", clock.local(end, site))
    return event


def _alarm(words: str) -> Alarm:
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("trigger", timedelta(0))
    alarm.add("description", words)
    return alarm


def _pour_event(batch: Batch, now: datetime) -> Event:
    names = ", ".join(dict.fromkeys(str(p.lift.pour) for p in batch.portions.all()))
    end = max(batch.planned_end, batch.planned_start + timedelta(minutes=1))
    name, start = f"batch-{batch.pk}", batch.planned_start
    event = _event(batch.site, name, batch.version - 1, start, end, now)
    event.add("summary", f"Batch {batch.number}: {names}")
    event.add(
        "description",
        f"{mass(batch.mixed_kg)}, first contact "
        f"{clock.local(batch.planned_contact, batch.site):%H:%M}. "
        "Follow the safety data sheet.",
    )
    event.add("url", f"{limits.public_url()}/batches/{batch.pk}/")
    off = batch.status in (BatchStatus.CANCELLED, BatchStatus.SCRAPPED)
    event.add("status", "CANCELLED" if off else "CONFIRMED")
    if batch.status == BatchStatus.PLANNED:
        event.add_component(_alarm(f"Batch {batch.number}: weighing begins"))
    return event


def _reminder_event(reminder: Reminder, now: datetime) -> Event:
    start = reminder.due_at
    event = _event(reminder.site, reminder.key, reminder.version - 1, start, start + LASTS, now)
    event.add("last-modified", reminder.changed_at.astimezone(UTC))
    event.add("summary", reminder.title)
    event.add("description", reminder.words)
    if reminder.path:
        event.add("url", limits.public_url() + reminder.path)
    off = reminder.state == ReminderState.CANCELLED
    event.add("status", "CANCELLED" if off else "CONFIRMED")
    if reminder.state == ReminderState.WAITING:
        event.add_component(_alarm(reminder.title))
    return event
