"""Handing a message over: by e-mail, or posted to a webhook signed as Standard Webhooks 1.0.0."""

from __future__ import annotations

import http.client
import json
import smtplib
import ssl
from dataclasses import dataclass
from datetime import datetime
from email.utils import parsedate_to_datetime
from functools import lru_cache
from typing import Any
from urllib.parse import urlsplit
from uuid import NAMESPACE_URL, uuid5

from django.conf import settings
from django.core.mail import EmailMessage, get_connection

from planning.reminders import limits
from planning.reminders.models import ReminderSettings
from planning.reminders.targets import PinnedConnection, Refused, resolve

TIMEOUT_S = 15
MOST_READ_BYTES = 64 * 1024
SLOWED = (429, 502, 503, 504)


@dataclass(frozen=True)
class Message:
    """What is handed over; `id` stays the same however often it is sent."""

    id: str
    subject: str
    text: str
    data: dict[str, Any]
    attempt: int
    doubtful: bool


class NotDelivered(Exception):
    """A message that did not go through, and what is known of it."""

    def __init__(
        self, words: str, *, doubtful: bool = False, final: bool = False, wait_s: int | None = None
    ) -> None:
        super().__init__(words)
        self.words, self.doubtful, self.final, self.wait_s = words, doubtful, final, wait_s


def message_id(key: str) -> str:
    """Return the identity of a delivery's message, the same for every attempt."""
    return f"rem_{uuid5(NAMESPACE_URL, key).hex}"


def send_email(message: Message, address: str) -> None:
    """Hand a message to the mail server; its id is the Message-ID, so copies can be told apart."""
    host = urlsplit(limits.public_url()).hostname or "localhost"
    mail = EmailMessage(
        message.subject,
        message.text,
        settings.DEFAULT_FROM_EMAIL,
        [address],
        headers={"Message-ID": f"<{message.id}@{host}>", "X-Attempt": str(message.attempt)},
        connection=get_connection(timeout=TIMEOUT_S),
    )
    try:
        mail.send()
    except smtplib.SMTPRecipientsRefused as error:
        raise NotDelivered(f"The mail server refuses {address}.", final=True) from error
    except (smtplib.SMTPServerDisconnected, TimeoutError) as error:
        raise NotDelivered(f"The mail server broke off: {error}.", doubtful=True) from error
    except (smtplib.SMTPException, OSError) as error:
        raise NotDelivered(f"The mail server did not take it: {error}.") from error


@lru_cache(maxsize=1)
def _context() -> ssl.SSLContext:
    return ssl.create_default_context(cafile=getattr(settings, "WEBHOOK_CA_FILE", None))


def send_webhook(message: Message, own: ReminderSettings, now: datetime) -> None:
    """Post a message to a person's address; only 2xx counts, redirects do not."""
    from standardwebhooks.webhooks import Webhook

    body = json.dumps(
        {"type": "reminder.due", "timestamp": now.isoformat(), "data": message.data},
        ensure_ascii=False,
    )
    headers = {
        "Content-Type": "application/json",
        "User-Agent": "casting-shop-planner",
        "webhook-id": message.id,
        "webhook-timestamp": str(int(now.timestamp())),
        "webhook-signature": Webhook(own.webhook_secret).sign(message.id, now, body),
    }
    try:
        target = resolve(own.webhook_url)
    except Refused as why:
        raise NotDelivered(str(why)) from why
    connection = PinnedConnection(target, TIMEOUT_S, _context())
    handed_over = False
    try:
        connection.connect()
        handed_over = True
        connection.request("POST", target.path, body.encode(), headers)
        answer = connection.getresponse()
        answer.read(MOST_READ_BYTES)
    except (OSError, http.client.HTTPException) as error:
        words = f"{target.host} did not answer: {type(error).__name__}."
        raise NotDelivered(words, doubtful=handed_over) from error
    finally:
        connection.close()
    _judge(answer.status, answer.headers.get("Retry-After"), target.host, now)


def _judge(status: int, retry_after: str | None, host: str, now: datetime) -> None:
    if 200 <= status < 300:
        return
    if status == 410:
        raise NotDelivered(f"{host} answered 410: it wants no more.", final=True)
    wait_s = _wait_asked(retry_after, now) if status in SLOWED else None
    raise NotDelivered(f"{host} answered {status}.", wait_s=wait_s)


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
    return max(0, min(seconds, 24 * 3600))
