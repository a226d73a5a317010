"""
Posting events to endpoints, each endpoint in a thread of its own.

A receiver that hangs holds its own thread for the limit of a call and nobody else's. An endpoint
is worked by one sender at a time, who holds a lease; a sender that dies leaves its delivery as
being sent, and the next one sends it again with the same id: at least once, in order per object.
"""

from __future__ import annotations

import json
import random
import threading
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

from django.db import connection
from django.db.models import Q

from shared import clock
from shared.events.placing import place_waiting
from shared.events.queries import behind, end_of_feed
from shared.hooks.models import Endpoint, HookAttempt, HookDelivery, HookState
from shared.hooks.queries import next_of
from shared.outgoing import webhook
from shared.outgoing.webhook import NotDelivered
from shared.retry import retried

LEASE = timedelta(seconds=60)
"""Well over the limit of one call; renewed before each."""
MOST_THREADS = 64
A_CHUNK = 500
_working: dict[int, threading.Thread] = {}
_lock = threading.Lock()


def send_all(*, wait: bool = False) -> int:
    """
    Begin to send what is due, a thread for each endpoint; return how many were begun.

    Without `wait` it returns at once: threads still held by slow receivers go on beside the next
    round, which leaves their endpoints alone.
    """
    place_waiting()
    begun = 0
    for pk in _with_work(clock.now()):
        with _lock:
            for gone in [key for key, one in _working.items() if not one.is_alive()]:
                del _working[gone]
            if pk in _working or len(_working) >= MOST_THREADS:
                continue
            thread = threading.Thread(target=_in_thread, args=(pk,), daemon=True)
            _working[pk] = thread
        thread.start()
        begun += 1
    if wait:
        for thread in list(_working.values()):
            thread.join()
    return begun


def _with_work(now: datetime) -> list[int]:
    due = Q(
        deliveries__state__in=(HookState.WAITING, HookState.SENDING), deliveries__try_at__lte=now
    )
    unread = Q(read_to__lt=end_of_feed())
    free = Q(lease_until=None) | Q(lease_until__lt=now)
    rows = Endpoint.objects.filter(free, due | unread, paused_at=None)
    return sorted(set(rows.values_list("pk", flat=True)))


def _in_thread(pk: int) -> None:
    try:
        send_to(pk)
    finally:
        connection.close()


def send_to(pk: int, read_clock: Callable[[], datetime] = clock.now) -> int:
    """Send one endpoint what is due, if nobody else does; return how many calls were made."""
    worker = uuid4().hex
    if not _claim(pk, worker, read_clock()):
        return 0
    calls = 0
    try:
        endpoint = Endpoint.objects.select_related("site").get(pk=pk)
        take_in(endpoint)
        _pick_up(endpoint)
        while _claim(pk, worker, read_clock()):
            endpoint.refresh_from_db()
            delivery = next_of(endpoint, read_clock())
            if delivery is None or endpoint.paused_at is not None:
                break
            calls += 1
            if not _send(endpoint, delivery, read_clock):
                break
    finally:
        Endpoint.objects.filter(pk=pk, claimed_by=worker).update(lease_until=None, claimed_by="")
    return calls


def _claim(pk: int, worker: str, now: datetime) -> bool:
    """Take or renew the lease of an endpoint."""
    free = Q(lease_until=None) | Q(lease_until__lt=now) | Q(claimed_by=worker)
    rows = Endpoint.objects.filter(free, pk=pk)
    return bool(rows.update(claimed_by=worker, lease_until=now + LEASE))


def _pick_up(endpoint: Endpoint) -> None:
    """Take up what a sender that died was sending: it may have arrived."""
    rows = HookDelivery.objects.filter(endpoint=endpoint, state=HookState.SENDING)
    rows.update(state=HookState.WAITING, doubtful=True)


@retried
def take_in(endpoint: Endpoint) -> int:
    """Write deliveries of what the feed has behind `read_to`; return how many."""
    held = Endpoint.objects.select_for_update(of=("self",)).get(pk=endpoint.pk)
    only = {"event__kind__in": held.kinds} if held.kinds else {}
    count, now = 0, clock.now()
    while True:
        page = behind(after=held.read_to, site_ids=[held.site_id], limit=A_CHUNK, **only)
        HookDelivery.objects.bulk_create(
            HookDelivery(endpoint=held, event_id=one.event_id, position=one.position, try_at=now)
            for one in page.places
        )
        count += len(page.places)
        held.read_to = page.after
        if not page.more:
            break
    Endpoint.objects.filter(pk=held.pk).update(read_to=held.read_to)
    endpoint.read_to = held.read_to
    return count


def _send(endpoint: Endpoint, delivery: HookDelivery, read_clock: Callable[[], datetime]) -> bool:
    """Make one attempt; return whether the endpoint answers, so that the next may follow."""
    rows = HookDelivery.objects.filter(pk=delivery.pk)
    rows.update(state=HookState.SENDING, attempts=delivery.attempts + 1)
    now, began = read_clock(), time.monotonic()
    failure = hand_over(endpoint, delivery.event.uid, delivery.event.message(), now)
    log(endpoint, delivery, delivery.event.uid, now, began, failure)
    if failure is None:
        rows.update(state=HookState.DELIVERED, error="", ended_at=read_clock())
        return True
    _put_off(endpoint, delivery, failure, read_clock())
    return failure.status is not None and not failure.final


def _put_off(
    endpoint: Endpoint, delivery: HookDelivery, failure: NotDelivered, now: datetime
) -> None:
    """Try again later, or give up; an endpoint that wants no more is paused, and loses nothing."""
    values: dict[str, Any] = {"error": failure.words[:300], "state": HookState.WAITING}
    if failure.doubtful:
        values["doubtful"] = True
    if failure.final:
        values["try_at"] = now
        rows = Endpoint.objects.filter(pk=endpoint.pk)
        rows.update(
            paused_at=now,
            paused_because=failure.words[:200],
            version=endpoint.version + 1,
        )
    elif delivery.attempts >= len(webhook.ATTEMPT_WAITS_S):
        values |= {"state": HookState.DEAD, "ended_at": now}
    else:
        wait_s = webhook.ATTEMPT_WAITS_S[delivery.attempts] * random.uniform(1, 1.1)
        values["try_at"] = now + timedelta(seconds=max(wait_s, failure.wait_s or 0))
    HookDelivery.objects.filter(pk=delivery.pk).update(**values)


def hand_over(
    endpoint: Endpoint, uid: str, body: dict[str, Any], now: datetime
) -> NotDelivered | None:
    """Post a body, signed with every secret that holds; return what went wrong, if anything."""
    try:
        webhook.post(
            url=endpoint.url,
            secret=endpoint.secrets(now),
            message_id=uid,
            body=json.dumps(body, separators=(",", ":")),
            now=now,
        )
    except NotDelivered as failure:
        return failure
    return None


def log(
    endpoint: Endpoint,
    delivery: HookDelivery | None,
    uid: str,
    at: datetime,
    began: float,
    failure: NotDelivered | None,
) -> HookAttempt:
    """Write an attempt down: when, how long it took, and what came of it."""
    return HookAttempt.objects.create(
        endpoint=endpoint,
        delivery=delivery,
        message_id=uid,
        at=at,
        took_ms=int((time.monotonic() - began) * 1000),
        taken=failure is None,
        words="Taken." if failure is None else failure.words[:300],
    )
