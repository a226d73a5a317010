"""Posting a webhook, signed as Standard Webhooks 1.0.0 says; only a 2xx answer counts."""

from __future__ import annotations

import base64
import http.client
import secrets
import ssl
from collections.abc import Sequence
from datetime import datetime
from email.utils import parsedate_to_datetime
from functools import lru_cache

from django.conf import settings

from shared.outgoing.targets import PinnedConnection, Refused, resolve

TIMEOUT_S = 15
"""For one whole call; a receiver that answers later is tried again."""
MOST_READ_BYTES = 64 * 1024
SLOWED = (429, 502, 503, 504)

HOUR = 3600
ATTEMPT_WAITS_S = (5, 300, 1800, 2 * HOUR, 5 * HOUR, 10 * HOUR, 14 * HOUR, 20 * HOUR, 24 * HOUR)
"""From one attempt to the next: ten attempts over 75:35:05 (the specification's own example)."""


class NotDelivered(Exception):
    """
    A message that did not go through, and what is known of it.

    Attributes
    ----------
    words : str
        What happened, for people.
    doubtful : bool
        It may have arrived all the same.
    final : bool
        No use in trying again.
    wait_s : int or None
        How long the receiver asks us to wait, seconds.
    status : int or None
        What the receiver answered, if it answered at all.
    """

    def __init__(
        self,
        words: str,
        *,
        doubtful: bool = False,
        final: bool = False,
        wait_s: int | None = None,
        status: int | None = None,
    ) -> None:
        super().__init__(words)
        self.words, self.doubtful, self.final, self.wait_s = words, doubtful, final, wait_s
        self.status = status


def new_secret() -> str:
    """Return a fresh signing secret of 256 random bits."""
    return "whsec_" + base64.b64encode(secrets.token_bytes(32)).decode()


@lru_cache(maxsize=1)
def trust() -> ssl.SSLContext:
    """Return the certificates trusted: the system's, or those of WEBHOOK_CA_FILE."""
    return ssl.create_default_context(cafile=getattr(settings, "WEBHOOK_CA_FILE", None))


def post(
    *, url: str, secret: str | Sequence[str], message_id: str, body: str, now: datetime
) -> None:
    """
    Post a JSON text to an address.

    Parameters
    ----------
    url : str
        The address, tested afresh.
    secret : str or sequence of str
        What the receiver was given; while a secret is being changed the old one as well, and
        the message bears a signature of each.
    message_id : str
        The same for every attempt, so that the receiver can drop copies.
    body : str
        JSON, below 20 kB.
    now : datetime
        Time of this attempt, part of what is signed.

    Raises
    ------
    NotDelivered
        Anything but a 2xx answer, redirects among them.
    """
    from standardwebhooks.webhooks import Webhook

    headers = {
        "Content-Type": "application/json",
        "User-Agent": "casting-shop-planner",
        "webhook-id": message_id,
        "webhook-timestamp": str(int(now.timestamp())),
        "webhook-signature": " ".join(
            Webhook(one).sign(message_id, now, body)
            for one in ([secret] if isinstance(secret, str) else secret)
        ),
    }
    try:
        target = resolve(url)
    except Refused as why:
        raise NotDelivered(str(why)) from why
    connection = PinnedConnection(target, TIMEOUT_S, trust())
    connected = False
    try:
        connection.connect()
        connected = True
        connection.request("POST", target.path, body.encode(), headers)
        answer = connection.getresponse()
        answer.read(MOST_READ_BYTES)
        if connection.ran_out:
            raise TimeoutError
    except (OSError, ValueError, http.client.HTTPException) as error:
        late = connection.ran_out or isinstance(error, TimeoutError)
        what = f"not within {TIMEOUT_S} s" if late else type(error).__name__
        words = f"{target.host} did not answer: {what}."
        raise NotDelivered(words, doubtful=connected) from error
    finally:
        connection.close()
    _judge(answer.status, answer.headers.get("Retry-After"), target.host, now)


def _judge(status: int, retry_after: str | None, host: str, now: datetime) -> None:
    if 200 <= status < 300:
        return
    if status == 410:
        raise NotDelivered(f"{host} answered 410: it wants no more.", final=True, status=status)
    wait_s = _wait_asked(retry_after, now) if status in SLOWED else None
    raise NotDelivered(f"{host} answered {status}.", wait_s=wait_s, status=status)


def _wait_asked(retry_after: str | None, now: datetime) -> int | None:
    """Return the seconds a receiver asks us to wait, at most a day."""
    if not retry_after:
        return None
    if retry_after.isdecimal():
        seconds = int(retry_after[:9])
    else:
        try:
            seconds = int((parsedate_to_datetime(retry_after) - now).total_seconds())
        except (TypeError, ValueError):
            return None
    return max(0, min(seconds, 24 * HOUR))
