"""Writes: endpoints made, changed, paused, given new secrets, and told again."""

from __future__ import annotations

import time
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

from shared.access.models import Site
from shared.change import change
from shared.errors import Invalid
from shared.events.actions import plain
from shared.events.kinds import EventKind
from shared.events.models import FeedPlace
from shared.events.placing import place_waiting
from shared.events.queries import end_of_feed
from shared.hooks import sending
from shared.hooks.models import Endpoint, HookAttempt, HookDelivery, HookState
from shared.outgoing import webhook
from shared.outgoing.targets import check_address
from shared.retry import retried

OLD_SECRET_HOLDS = timedelta(hours=24)
"""How long messages are signed with the secret before the newest one as well."""
KEPT = timedelta(days=90)
A_CHUNK = 500


@retried
def add(*, site: Site, name: str, url: str, kinds: Iterable[str], now: datetime) -> Endpoint:
    """Make an endpoint with a fresh secret; it is told of what happens from now on."""
    check_address(url, "url")
    if Endpoint.objects.filter(site=site, name=name).exists():
        words = f"name is {name!r}; another endpoint of the site has this name."
        raise Invalid.one("name", "not_unique", words, value=name)
    place_waiting()
    return Endpoint.objects.create(
        site=site,
        name=name,
        url=url,
        kinds=checked_kinds(kinds),
        secret=webhook.new_secret(),
        read_to=end_of_feed(),
        made_at=now,
    )


def checked_kinds(kinds: Iterable[str]) -> list[str]:
    """Return kinds of events, each once; refuse unknown ones."""
    found = list(dict.fromkeys(kinds))
    if unknown := [kind for kind in found if kind not in EventKind.values]:
        words = (
            f"kinds names {', '.join(unknown)[:80]!r}; known are {', '.join(EventKind.values)}."
        )
        raise Invalid.one("kinds", "unknown", words)
    return found


def alter(*, endpoint: Endpoint, **values: Any) -> Endpoint:
    """Change name, address or kinds; a new address is tested as a first one is."""
    if values.get("url", endpoint.url) != endpoint.url:
        check_address(values["url"], "url")
    if "kinds" in values:
        values["kinds"] = checked_kinds(values["kinds"])
    return change(endpoint, **values)


def new_secret(*, endpoint: Endpoint, now: datetime) -> Endpoint:
    """Give a new secret; the one before goes on signing beside it for `OLD_SECRET_HOLDS`."""
    return change(
        endpoint,
        secret=webhook.new_secret(),
        old_secret=endpoint.secret,
        old_secret_until=now + OLD_SECRET_HOLDS,
    )


def pause(*, endpoint: Endpoint, now: datetime, reason: str = "") -> Endpoint:
    """Send nothing until it goes on; what happens meanwhile waits."""
    if endpoint.paused_at is not None:
        return endpoint
    return change(endpoint, paused_at=now, paused_because=reason[:200])


def go_on(*, endpoint: Endpoint) -> Endpoint:
    """Send again, first what has waited."""
    return change(endpoint, paused_at=None, paused_because="")


@retried
def replay(*, endpoint: Endpoint, since: datetime, now: datetime) -> int:
    """Send again, with the same ids, what was written since a time; return how many events."""
    place_waiting()
    sending.take_in(endpoint)
    places = FeedPlace.objects.filter(
        site=endpoint.site_id, placed_at__gte=since, position__lte=endpoint.read_to
    )
    if endpoint.kinds:
        places = places.filter(event__kind__in=endpoint.kinds)
    again = HookDelivery.objects.filter(endpoint=endpoint, event__in=places.values("event"))
    again.update(
        state=HookState.WAITING, attempts=0, try_at=now, error="", doubtful=True, ended_at=None
    )
    known = set(again.values_list("event", flat=True))
    missing = [place for place in places.order_by("position") if place.event_id not in known]
    HookDelivery.objects.bulk_create(
        [
            HookDelivery(
                endpoint=endpoint, event_id=one.event_id, position=one.position, try_at=now
            )
            for one in missing
        ],
        batch_size=A_CHUNK,
    )
    return len(known) + len(missing)


def send_test(*, endpoint: Endpoint, now: datetime) -> HookAttempt:
    """Post a message that is no event, once, and tell what came of it."""
    uid = f"test_{uuid4().hex}"
    body = {
        "id": uid,
        "type": "webhook.test",
        "timestamp": plain(now),
        "data": {"site": endpoint.site.code, "endpoint": endpoint.name},
    }
    began = time.monotonic()
    failure = sending.hand_over(endpoint, uid, body, now)
    return sending.log(endpoint, None, uid, now, began, failure)


def forget_old(now: datetime) -> int:
    """Delete deliveries that ended long ago, with their attempts, and old tests."""
    HookAttempt.objects.filter(delivery=None, at__lt=now - KEPT).delete()
    return HookDelivery.objects.filter(ended_at__lt=now - KEPT).delete()[0]
