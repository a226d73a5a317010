"""Handing a message over, by e-mail or by webhook."""

from __future__ import annotations

import json
import smtplib
import time
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import urlsplit
from uuid import NAMESPACE_URL, uuid5

from django.core.mail import EmailMessage, get_connection

from planning.reminders import limits
from planning.reminders.models import ReminderSettings
from shared.mail.backend import OFF, MailOff, sender
from shared.outgoing import webhook
from shared.outgoing.webhook import NotDelivered

MAIL_TIMEOUT_S = 15
IDLE_S = 30
"""A connection left idle for longer, behind slow webhooks, may be cut: a new one is opened."""
MOST_A_CONNECTION = 50
"""Mail servers break off after so many messages, 100 as a rule; common practice, no source."""


@dataclass(frozen=True)
class Message:
    """What is handed over; `id` stays the same however often it is sent."""

    id: str
    subject: str
    text: str
    data: dict[str, Any]
    attempt: int
    doubtful: bool


def message_id(key: str) -> str:
    """Return the identity of a delivery's message, the same for every attempt."""
    return f"rem_{uuid5(NAMESPACE_URL, key).hex}"


class Mailer:
    """Hands messages to the mail server over one connection, opened when first needed."""

    def __init__(self) -> None:
        self._connection: Any = None
        self._sent = 0
        self._used_at = 0.0

    def send(self, message: Message, address: str) -> None:
        """Hand over one message; its id is the Message-ID, so that copies can be told apart."""
        host = urlsplit(limits.public_url()).hostname or "localhost"
        try:
            mail = EmailMessage(
                message.subject,
                message.text,
                sender(),
                [address],
                headers={
                    "Message-ID": f"<{message.id}@{host}>",
                    "X-Attempt": str(message.attempt),
                },
                connection=self._open(),
            )
            mail.send()
            self._sent += 1
            self._used_at = time.monotonic()
        except (smtplib.SMTPException, OSError) as error:
            self.close()
            raise _understood(error, address) from error

    def _open(self) -> Any:
        if self._sent >= MOST_A_CONNECTION or time.monotonic() - self._used_at > IDLE_S:
            self.close()
        if self._connection is None:
            self._sent = 0
            connection = get_connection(timeout=MAIL_TIMEOUT_S)
            try:
                connection.open()
            except TimeoutError as error:
                raise ConnectionError(f"no answer: {error}") from error
            self._connection = connection
        return self._connection

    def close(self) -> None:
        """Hang up, whatever state the connection is in."""
        if self._connection is not None:
            with suppress(smtplib.SMTPException, OSError):
                self._connection.close()
            self._connection = None


def _understood(error: Exception, address: str) -> NotDelivered:
    """Return what a mail server's refusal says about the message."""
    if isinstance(error, MailOff):
        return NotDelivered(OFF)
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return NotDelivered(f"The mail server refuses {address}.", final=True)
    if isinstance(error, smtplib.SMTPServerDisconnected | TimeoutError):
        return NotDelivered(f"The mail server broke off: {error}.", doubtful=True)
    return NotDelivered(f"The mail server did not take it: {error}.")


def send_webhook(message: Message, own: ReminderSettings, now: datetime) -> None:
    """Post a message to a person's address."""
    said = {"type": "reminder.due", "timestamp": now.isoformat(), "data": message.data}
    webhook.post(
        url=own.webhook_url,
        secret=own.webhook_secret,
        message_id=message.id,
        body=json.dumps(said, ensure_ascii=False),
        now=now,
    )
