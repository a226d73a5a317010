"""
Sending what is due, so that a worker may die at any point and nothing is lost.

A delivery is claimed with a short lease, renewed while its worker lives, looked at again, written
down as being handed over, handed over outside any transaction and written down as sent. A worker
that dies before the hand-over leaves a message that is sent once, by another, when the lease has
run out. Only one that dies between hand-over and the last write leaves a message that is sent
twice, under one id and saying so.
"""

from __future__ import annotations

import os
import random
import secrets
import socket
from collections import defaultdict
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from django.db import connection, transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.template.loader import render_to_string

from planning.reminders import limits, wanted
from planning.reminders.channels import (
    Mailer,
    Message,
    message_id,
    send_webhook,
)
from planning.reminders.kill_points import reached
from planning.reminders.kinds import RULES
from planning.reminders.models import (
    Channel,
    Delivery,
    DeliveryItem,
    DeliveryState,
    ReminderSettings,
    ReminderState,
)
from shared import clock
from shared.outgoing.webhook import ATTEMPT_WAITS_S, NotDelivered

Clock = Callable[[], datetime]
D = DeliveryState


def worker_name() -> str:
    """Return a name no other worker has had or will have."""
    return f"{socket.gethostname()[:40]}:{os.getpid()}:{secrets.token_hex(8)}"


def deliverable(now: datetime) -> QuerySet[Delivery]:
    """Return deliveries that are due and free, or whose worker's lease has run out."""
    lapsed = Q(state__in=[D.CLAIMED, D.SENDING], lease_until__lt=now)
    return Delivery.objects.filter(Q(state=D.WAITING, try_at__lte=now) | lapsed)


def claim(now: datetime, worker: str, count: int) -> list[Delivery]:
    """
    Take some deliveries that can be sent.

    On PostgreSQL rows another worker is claiming are passed over; on SQLite one transaction
    writes at a time.
    """
    with transaction.atomic():
        rows = deliverable(now).order_by("try_at", "id")
        if connection.features.has_select_for_update_skip_locked:
            rows = rows.select_for_update(skip_locked=True)
        keys = list(rows.values_list("pk", "state")[:count])
        doubted = [pk for pk, state in keys if state == D.SENDING]
        Delivery.objects.filter(pk__in=doubted).update(doubtful=True)
        Delivery.objects.filter(pk__in=[pk for pk, _ in keys]).update(
            state=D.CLAIMED,
            claimed_by=worker,
            lease_until=now + limits.lease(),
            attempts=F("attempts") + 1,
        )
    mine = Delivery.objects.filter(pk__in=[pk for pk, _ in keys], claimed_by=worker)
    return list(mine.select_related("user", "site").order_by("try_at", "id"))


def send_due(read_clock: Clock, worker: str, most: int = 1000) -> int:
    """Send what is due until nothing is left or `most` have been handled; returns how many."""
    done, mailer = 0, Mailer()
    try:
        while done < most:
            rows = claim(read_clock(), worker, limits.claim_at_once())
            if not rows:
                break
            reached("claimed")
            run = _Run(read_clock, worker, mailer)
            for place, row in enumerate(rows):
                run.send(row, rows[place:])
            done += len(rows)
    finally:
        mailer.close()
    return done


class _Run:
    """The sending of a few claimed deliveries, one after another."""

    def __init__(self, read_clock: Clock, worker: str, mailer: Mailer) -> None:
        self.read_clock, self.worker, self.mailer = read_clock, worker, mailer
        self.seen_at: datetime | None = None
        self.items: dict[int, list[DeliveryItem]] = {}

    def send(self, delivery: Delivery, to_come: list[Delivery]) -> None:
        """Send one delivery, if this worker holds it still and it is still to be told."""
        now = self.read_clock()
        assert delivery.lease_until is not None
        if delivery.lease_until - now < limits.lease() * 3 / 4 and not self._renew(to_come, now):
            return
        if self.seen_at is None or abs(now - self.seen_at) > limits.SEEN_FOR:
            self.seen_at, self.items = now, _still_due(to_come, now)
        items = self.items.get(delivery.pk, [])
        reached("checked")
        if not items:
            self._finish(delivery, D.CLAIMED, state=D.DROPPED)
            return
        message = _render(delivery, items, now)
        reached("rendered")
        if not self._mark(delivery):
            return
        reached("marked")
        try:
            _hand_over(delivery, message, now, self.mailer)
        except NotDelivered as failure:
            self._put_off(delivery, failure)
            return
        reached("handed_over")
        self._finish(delivery, D.SENDING, state=D.SENT, sent_at=self.read_clock(), error="")
        reached("stamped")

    def _renew(self, to_come: list[Delivery], now: datetime) -> bool:
        """
        Hold what is still to be sent for another lease; False when the first is another's by now.

        Leases are short, so that what a dead worker held is soon sent by another; a slow receiver
        before it in the row must not let the rest lapse under a worker that lives.
        """
        until = now + limits.lease()
        with transaction.atomic():
            held = Delivery.objects.filter(
                pk__in=[row.pk for row in to_come], state=D.CLAIMED, claimed_by=self.worker
            )
            kept = set(held.select_for_update().values_list("pk", flat=True))
            held.update(lease_until=until)
        for row in to_come:
            if row.pk in kept:
                row.lease_until = until
        return to_come[0].pk in kept

    def _held(self, delivery: Delivery, held_in: str) -> QuerySet[Delivery]:
        return Delivery.objects.filter(pk=delivery.pk, state=held_in, claimed_by=self.worker)

    def _finish(self, delivery: Delivery, held_in: str, **values: Any) -> None:
        """Write the next state and let go, if this worker still holds the delivery."""
        self._held(delivery, held_in).update(claimed_by="", lease_until=None, **values)

    def _mark(self, delivery: Delivery) -> bool:
        """
        Write down that it is being handed over.

        The version is compared once more in the same statement: a reminder that has moved, been
        taken up or cancelled since it was looked at is not sent.
        """
        current = _current().filter(delivery=OuterRef("pk"))
        held = self._held(delivery, D.CLAIMED)
        if held.filter(Exists(current)).update(state=D.SENDING):
            return True
        self._finish(delivery, D.CLAIMED, state=D.DROPPED)
        return False

    def _put_off(self, delivery: Delivery, failure: NotDelivered) -> None:
        """Try again later, or give up and let the failure be seen."""
        values: dict[str, Any] = {"error": failure.words[:300]}
        if failure.doubtful:
            values["doubtful"] = True
        if failure.final or delivery.attempts > len(ATTEMPT_WAITS_S):
            self._finish(delivery, D.SENDING, state=D.FAILED, **values)
            return
        wait_s = ATTEMPT_WAITS_S[delivery.attempts - 1] * random.uniform(1, 1.1)
        try_at = self.read_clock() + timedelta(seconds=max(wait_s, failure.wait_s or 0))
        self._finish(delivery, D.SENDING, state=D.WAITING, try_at=try_at, **values)


def _current() -> QuerySet[DeliveryItem]:
    """Return items whose reminder is as it was when the message was made, and not taken up."""
    return DeliveryItem.objects.filter(
        reminder__version=F("version"), reminder__state=ReminderState.TOLD
    )


def _still_due(deliveries: list[Delivery], now: datetime) -> dict[int, list[DeliveryItem]]:
    """Return what is still to be told by delivery: unchanged, and the thing itself says so."""
    rows = _current().filter(delivery__in=deliveries).select_related("reminder__site")
    items = list(rows.order_by("id"))
    subjects: dict[str, set[str]] = defaultdict(set)
    for item in items:
        subjects[item.reminder.kind].add(item.reminder.subject)
    due = {kind: wanted.still_due(kind, names, now) for kind, names in subjects.items()}
    found: dict[int, list[DeliveryItem]] = defaultdict(list)
    for item in items:
        if item.reminder.subject in due[item.reminder.kind]:
            found[item.delivery_id].append(item)
    return found


def _render(delivery: Delivery, items: list[DeliveryItem], now: datetime) -> Message:
    rows = [_row(item, now) for item in items]
    cautions = list(dict.fromkeys(filter(None, (RULES[r["kind"]].caution for r in rows))))
    facts = {
        "rows": rows,
        "cautions": cautions,
        "doubtful": delivery.doubtful,
        "escalated": any(item.escalated for item in items),
        "url": limits.public_url(),
        "user": delivery.user,
        "site": delivery.site,
    }
    return Message(
        id=message_id(delivery.key),
        subject=" ".join(render_to_string("planning/reminders/mail_subject.txt", facts).split()),
        text=render_to_string("planning/reminders/mail.txt", facts),
        data={
            "site": delivery.site.code,
            "sent_again": delivery.doubtful,
            "escalated": facts["escalated"],
            "reminders": [row["data"] for row in rows],
        },
        attempt=delivery.attempts,
        doubtful=delivery.doubtful,
    )


def _row(item: DeliveryItem, now: datetime) -> dict[str, Any]:
    reminder = item.reminder
    late_min = max(0, int((now - reminder.due_at).total_seconds() // 60))
    return {
        "kind": reminder.kind,
        "title": reminder.title,
        "words": reminder.words,
        "due": clock.local(reminder.due_at, reminder.site),
        "late_min": late_min if late_min >= limits.LATE_AFTER.total_seconds() / 60 else 0,
        "path": reminder.path,
        "data": {
            "id": str(reminder.pk),
            "kind": reminder.kind,
            "subject": reminder.subject,
            "title": reminder.title,
            "due_at": reminder.due_at.isoformat(),
            "late_min": late_min,
            "version": reminder.version,
        },
    }


def _hand_over(delivery: Delivery, message: Message, now: datetime, mailer: Mailer) -> None:
    if delivery.channel == Channel.EMAIL:
        if not delivery.user.email:
            raise NotDelivered(f"{delivery.user} has no e-mail address.", final=True)
        mailer.send(message, delivery.user.email)
        return
    own = ReminderSettings.objects.filter(user=delivery.user).first()
    if own is None or not own.webhook_url or own.webhook_off:
        raise NotDelivered(f"{delivery.user} takes no webhooks.", final=True)
    try:
        send_webhook(message, own, now)
    except NotDelivered as failure:
        if failure.final:
            ReminderSettings.objects.filter(pk=own.pk).update(webhook_off=failure.words[:200])
        raise
