"""Writes: bring reminders up to date, make messages of those due, confirm, choose channels."""

from __future__ import annotations

import hashlib
import secrets
from collections import defaultdict
from collections.abc import Collection, Iterable
from datetime import datetime, time

from django.db import connection, transaction
from django.db.models import F, Q, QuerySet

from planning.reminders import limits, wanted
from planning.reminders.kill_points import reached
from planning.reminders.kinds import RULES
from planning.reminders.models import (
    Channel,
    ChannelChoice,
    Delivery,
    DeliveryItem,
    DeliveryState,
    Kind,
    Reminder,
    ReminderSettings,
    ReminderState,
)
from planning.reminders.reach import Reach, reach_of
from planning.reminders.wanted import Wanted
from shared.access.models import Site, User
from shared.errors import Invalid, ShopError
from shared.outgoing.targets import check_address
from shared.outgoing.webhook import new_secret

S = ReminderState


def locked(rows: QuerySet[Reminder]) -> QuerySet[Reminder]:
    """Lock rows and pass over those another worker has, where the database can."""
    if connection.features.has_select_for_update_skip_locked:
        return rows.select_for_update(skip_locked=True, of=("self",))
    return rows


def refresh(now: datetime, kinds: Collection[str] = tuple(wanted.SOURCES)) -> int:
    """Make, move and cancel reminders of some kinds so that they say what the things say now."""
    asked = wanted.all_wanted(now, kinds)
    alive = Reminder.objects.filter(
        state__in=[S.WAITING, S.TOLD, S.CONFIRMED], kind__in=list(kinds)
    )
    have = {row.key: row for row in alive}
    unknown = [key for key in asked if key not in have]
    for start in range(0, len(unknown), 500):
        for row in Reminder.objects.filter(key__in=unknown[start : start + 500]):
            have[row.key] = row
    new = [_new(one, now) for key, one in asked.items() if key not in have]
    Reminder.objects.bulk_create(new, ignore_conflicts=True, batch_size=500)
    changed = len(new)
    for key, row in have.items():
        changed += _follow(row, asked.get(key), now)
    return changed


def _new(one: Wanted, now: datetime) -> Reminder:
    return Reminder(
        site_id=one.site_id,
        key=one.key,
        kind=one.kind,
        subject=one.subject,
        title=one.title[:160],
        words=one.words[:400],
        path=one.path,
        due_at=one.due_at,
        created_at=now,
        changed_at=now,
    )


def _follow(row: Reminder, one: Wanted | None, now: datetime) -> int:
    """Bring one row up to date, unless another worker has just done so."""
    same = Reminder.objects.filter(pk=row.pk, version=row.version, state=row.state)
    if one is None:
        if row.state == S.WAITING:
            return same.update(state=S.CANCELLED, version=F("version") + 1, changed_at=now)
        if row.state in (S.TOLD, S.CONFIRMED):
            return same.update(state=S.OVER, changed_at=now)
        return 0
    told = row.state in (S.TOLD, S.CONFIRMED)
    if told and (one.due_at <= now or one.due_at == row.due_at):
        return 0
    texts = {"title": one.title[:160], "words": one.words[:400], "path": one.path}
    if row.state == S.WAITING and one.due_at == row.due_at:
        if all(getattr(row, name) == text for name, text in texts.items()):
            return 0
        return same.update(**texts, changed_at=now)
    return same.update(
        **texts,
        due_at=one.due_at,
        state=S.WAITING,
        version=F("version") + 1,
        changed_at=now,
        told_at=None,
        escalate_at=None,
        escalated_at=None,
        confirmed_at=None,
        confirmed_by=None,
    )


def tell_due(now: datetime, at_once: int = 200) -> int:
    """Make messages of reminders that are due; a worker that dies here leaves all or nothing."""
    with transaction.atomic():
        due = Reminder.objects.filter(state=S.WAITING, due_at__lte=now)
        rows = list(locked(due.order_by("due_at", "id"))[:at_once])
        rows = _sure(rows, now)
        _make_messages(rows, now, escalated=False)
        for row in rows:
            within = RULES[row.kind].confirm_within
            row.state, row.told_at = S.TOLD, now
            row.escalate_at = None if within is None else now + within
        reached("written")
        Reminder.objects.bulk_update(rows, ["state", "told_at", "escalate_at"], batch_size=500)
    return len(rows)


def _sure(rows: list[Reminder], now: datetime) -> list[Reminder]:
    """Leave out what opens by a clock that was not asked again when its time had come."""
    unsure = {
        (kind, subject)
        for kind in wanted.CLOCKED
        if (subjects := {row.subject for row in rows if row.kind == kind})
        for subject in wanted.not_sure(kind, subjects, now)
    }
    return [row for row in rows if (row.kind, row.subject) not in unsure]


def escalate_due(now: datetime, at_once: int = 200) -> int:
    """Tell the next people of reminders nobody has confirmed in time."""
    with transaction.atomic():
        due = Reminder.objects.filter(
            state=S.TOLD, escalate_at__lte=now, escalated_at__isnull=True
        )
        rows = list(locked(due.order_by("escalate_at", "id"))[:at_once])
        _make_messages(rows, now, escalated=True)
        Reminder.objects.filter(pk__in=[row.pk for row in rows]).update(escalated_at=now)
    return len(rows)


def _make_messages(rows: list[Reminder], now: datetime, *, escalated: bool) -> None:
    """Write one delivery a person, channel and reminder; late ones of a person go in one."""
    together: dict[tuple[int, int, str], list[tuple[Reminder, Reach]]] = defaultdict(list)
    singles: list[tuple[Reminder, Reach]] = []
    reaches = {site: reach_of(site) for site in {row.site_id for row in rows}}
    for row in rows:
        late = not escalated and now - row.due_at > limits.LATE_AFTER
        for reach in reaches[row.site_id].for_kind(row.kind, escalated=escalated):
            if reach.channel == Channel.CALENDAR:
                continue
            if late and reach.channel != Channel.TODAY:
                together[row.site_id, reach.user.pk, reach.channel].append((row, reach))
            else:
                singles.append((row, reach))
    groups = [[pair] for pair in singles]
    for (_, _, channel), pairs in together.items():
        size = limits.WEBHOOK_ITEMS if channel == Channel.WEBHOOK else len(pairs)
        groups += [pairs[start : start + size] for start in range(0, len(pairs), size)]
    _write_messages(groups, now, escalated)


def _write_messages(
    groups: list[list[tuple[Reminder, Reach]]], now: datetime, escalated: bool
) -> None:
    deliveries, items = [], []
    for group in groups:
        (row, reach), more = group[0], len(group) - 1
        key = f"{row.key}:v{row.version}:{reach.user.pk}:{reach.channel}"
        key += (":escalated" if escalated else "") + (f":and-{more}-more" if more else "")
        through = any(RULES[one.kind].through_quiet for one, _ in group)
        due_at = now if through else reach.held_until(now)
        delivery = Delivery(
            key=key,
            site_id=row.site_id,
            user=reach.user,
            channel=reach.channel,
            due_at=due_at,
            try_at=due_at,
        )
        if reach.channel == Channel.TODAY:
            delivery.state, delivery.sent_at = DeliveryState.SENT, now
        elif reach.problem:
            delivery.state, delivery.error = DeliveryState.FAILED, reach.problem
        deliveries.append(delivery)
        items += [(delivery, one) for one, _ in group]
    Delivery.objects.bulk_create(deliveries, batch_size=500)
    DeliveryItem.objects.bulk_create(
        [
            DeliveryItem(
                delivery=delivery,
                reminder=row,
                version=row.version,
                user_id=delivery.user_id,
                channel=delivery.channel,
                escalated=escalated,
            )
            for delivery, row in items
        ],
        batch_size=500,
    )


def confirm(*, reminder: Reminder, by: User, now: datetime) -> Reminder:
    """Say that somebody has taken a reminder up; a repeat changes nothing."""
    changed = Reminder.objects.filter(pk=reminder.pk, state=S.TOLD).update(
        state=S.CONFIRMED, confirmed_at=now, confirmed_by=by
    )
    reminder.refresh_from_db()
    if not changed and reminder.state != S.CONFIRMED:
        raise ShopError(
            f"“{reminder.title}” is {reminder.get_state_display().lower()}; only a reminder that "
            "has been told can be confirmed.",
            code="not_told",
            state=reminder.state,
        )
    return reminder


def choose_channels(
    *, user: User, site: Site, kind: str, channels: Iterable[str]
) -> ChannelChoice:
    """Keep on which channels a person wants a kind of reminder at a site."""
    chosen = list(dict.fromkeys(channels))
    for channel in chosen:
        if channel not in Channel.values:
            raise Invalid.one(
                "channels",
                "unknown",
                f"channels has {channel!r}; give any of {', '.join(Channel.values)}.",
            )
    if kind not in Kind.values:
        raise Invalid.one(
            "kind", "unknown", f"kind is {kind!r}; give one of {', '.join(Kind.values)}."
        )
    choice, _ = ChannelChoice.objects.update_or_create(
        user=user, site=site, kind=kind, defaults={"channels": chosen}
    )
    return choice


def settings_of(user: User) -> ReminderSettings:
    """Return a person's settings, made on first use."""
    return ReminderSettings.objects.get_or_create(user=user)[0]


def set_quiet_hours(*, user: User, quiet_from: time | None, quiet_until: time | None) -> None:
    """Keep the hours in which a person is not written to; both empty for none."""
    if (quiet_from is None) != (quiet_until is None):
        missing = "quiet_until" if quiet_until is None else "quiet_from"
        raise Invalid.one(missing, "missing", f"{missing} is empty; give both or neither.")
    own = settings_of(user)
    ReminderSettings.objects.filter(pk=own.pk).update(
        quiet_from=quiet_from, quiet_until=quiet_until, version=F("version") + 1
    )


def set_webhook(*, user: User, url: str) -> str:
    """Keep the address a person's reminders are posted to; returns the new secret, shown once."""
    own = settings_of(user)
    secret = ""
    if url:
        check_address(url)
        secret = new_secret()
    ReminderSettings.objects.filter(pk=own.pk).update(
        webhook_url=url, webhook_secret=secret, webhook_off="", version=F("version") + 1
    )
    return secret


def digest_of(token: str) -> str:
    """Return what is kept of a feed's token."""
    return hashlib.sha256(token.encode()).hexdigest()


def renew_feed(*, user: User) -> str:
    """Return a new token for a person's calendar feed; the old one stops working."""
    own, token = settings_of(user), secrets.token_urlsafe(32)
    ReminderSettings.objects.filter(pk=own.pk).update(
        feed_digest=digest_of(token), version=F("version") + 1
    )
    return token


def close_feed(*, user: User) -> None:
    """Stop a person's calendar feed."""
    ReminderSettings.objects.filter(user=user).update(feed_digest="", version=F("version") + 1)


def put_away(*, user: User, delivery_id: int, now: datetime) -> None:
    """Take a notice off a person's Today page."""
    Delivery.objects.filter(
        Q(seen_at__isnull=True), pk=delivery_id, user=user, channel=Channel.TODAY
    ).update(seen_at=now)


def send_again(*, delivery: Delivery, now: datetime) -> Delivery:
    """Try a message that could not be sent again, under its old id."""
    changed = Delivery.objects.filter(pk=delivery.pk, state=DeliveryState.FAILED).update(
        state=DeliveryState.WAITING, try_at=now, attempts=0
    )
    if not changed:
        delivery.refresh_from_db()
        raise ShopError(
            f"The message to {delivery.user} is {delivery.get_state_display().lower()}; only one "
            "that could not be sent is tried again.",
            code="not_failed",
            state=delivery.state,
        )
    delivery.refresh_from_db()
    return delivery


def forget_old(now: datetime) -> int:
    """Delete messages past their time, and reminders that no message speaks of any more."""
    before = now - limits.KEEP_MESSAGES
    settled = (DeliveryState.SENT, DeliveryState.FAILED, DeliveryState.DROPPED)
    Delivery.objects.filter(state__in=settled, due_at__lt=before).delete()
    over = (S.OVER, S.CANCELLED)
    gone = Reminder.objects.filter(state__in=over, changed_at__lt=before, items__isnull=True)
    return gone.delete()[0]
