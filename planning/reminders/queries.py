"""Reading reminders: lists, a person's notices, what fails, whether the sweeper lives."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Prefetch, Q, QuerySet
from django.urls import reverse

from planning.reminders import limits
from planning.reminders.kinds import RULES
from planning.reminders.models import (
    Channel,
    ChannelChoice,
    Delivery,
    DeliveryItem,
    DeliveryState,
    Heartbeat,
    Kind,
    Reminder,
    ReminderState,
)
from shared.access.models import Membership, Site, User
from shared.mail.unsent import MOST_LISTED, Unsent


def reminders() -> QuerySet[Reminder]:
    """Return reminders with the number of messages that went and that could not be sent."""
    sent = Q(items__delivery__state=DeliveryState.SENT)
    failed = Q(items__delivery__state=DeliveryState.FAILED)
    return Reminder.objects.select_related("site", "confirmed_by").annotate(
        sent=Count("items", filter=sent, distinct=True),
        failed=Count("items", filter=failed, distinct=True),
    )


def open_reminders(site: Site) -> QuerySet[Reminder]:
    """Return what has been told at a site and nobody has taken up, oldest first."""
    return reminders().filter(site=site, state=ReminderState.TOLD)


def notices(user: User, sites: Iterable[int]) -> QuerySet[Delivery]:
    """Return the notices on a person's Today page that still matter, oldest first."""
    current = Q(items__reminder__state=ReminderState.TOLD)
    items = DeliveryItem.objects.select_related("reminder__site")
    return (
        Delivery.objects.filter(
            current, user=user, site__in=list(sites), channel=Channel.TODAY, seen_at__isnull=True
        )
        .distinct()
        .prefetch_related(Prefetch("items", items))
        .order_by("due_at", "id")
    )


def troubled(site: Site) -> QuerySet[Delivery]:
    """Return messages that failed, are being tried again, or may have gone out twice."""
    bad = (
        Q(state=DeliveryState.FAILED)
        | Q(state=DeliveryState.WAITING, attempts__gt=0)
        | Q(doubtful=True)
    )
    return (
        Delivery.objects.filter(bad, site=site)
        .exclude(state=DeliveryState.DROPPED)
        .select_related("user")
        .prefetch_related("items__reminder")
        .order_by("-due_at", "-id")
    )


def unsent_mails(site_id: int) -> list[Unsent]:
    """Return reminders that a mail server did not take."""
    bad = Q(state=DeliveryState.FAILED) | Q(state=DeliveryState.WAITING, attempts__gt=0)
    rows = (
        Delivery.objects.filter(bad, site=site_id, channel=Channel.EMAIL)
        .select_related("user")
        .prefetch_related("items__reminder")
        .order_by("-due_at", "-id")[:MOST_LISTED]
    )
    return [
        Unsent(
            since=row.due_at,
            about=", ".join(item.reminder.title for item in row.items.all())[:200] or "Reminder",
            to=row.user.email or str(row.user),
            error=row.error,
            given_up=row.state == DeliveryState.FAILED,
            path=reverse("reminders"),
        )
        for row in rows
    ]


@dataclass(frozen=True)
class Health:
    """Whether the sweeper goes round, in words when it does not."""

    well: bool
    words: str
    last_at: datetime | None


def sweeper_health(now: datetime) -> Health:
    """Return whether a sweeper has been through lately and agrees with the database's clock."""
    beat = Heartbeat.objects.filter(name="reminders").first()
    if beat is None:
        return Health(False, "No sweeper of reminders has run yet.", None)
    age_s = (now - beat.at).total_seconds()
    if age_s > limits.HEARTBEAT_LATE_S:
        words = f"The sweeper of reminders last ran {age_s / 60:.0f} min ago; is a worker running?"
        return Health(False, words, beat.at)
    if abs(beat.clock_apart_s) >= limits.CLOCK_APART_S:
        words = (
            f"A worker's clock is {beat.clock_apart_s:+.0f} s from the database's; set the clocks."
        )
        return Health(False, words, beat.at)
    return Health(True, "", beat.at)


@dataclass(frozen=True)
class KindChoice:
    """One row of a person's choices at a site."""

    kind: str
    label: str
    channels: tuple[str, ...]
    usual: tuple[str, ...]
    chosen: bool


def choices_of(user: User, site: Site) -> list[KindChoice]:
    """Return a person's channels for each kind: their own choice, else the usual of their role."""
    roles = set(Membership.objects.filter(user=user, site=site).values_list("role", flat=True))
    own = {c.kind: tuple(c.channels) for c in ChannelChoice.objects.filter(user=user, site=site)}
    rows = []
    for kind, label in Kind.choices:
        rule = RULES[kind]
        usual = tuple(rule.channels) if roles & set(rule.roles) else ()
        rows.append(KindChoice(kind, label, own.get(kind, usual), usual, kind in own))
    return rows


def coming(site: Site, until: datetime) -> QuerySet[Reminder]:
    """Return what will be told at a site before a moment, soonest first."""
    return Reminder.objects.filter(
        site=site, state=ReminderState.WAITING, due_at__lt=until
    ).order_by("due_at", "id")
