"""Handing a message over, by e-mail or by webhook."""

from __future__ import annotations

import json
import smtplib
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import urlsplit
from uuid import NAMESPACE_URL, uuid5

from django.conf import settings
from django.core.mail import EmailMessage, get_connection

from planning.reminders import limits
from planning.reminders.models import ReminderSettings
from shared.outgoing import webhook
from shared.outgoing.webhook import NotDelivered

MAIL_TIMEOUT_S = 15


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


def send_email(message: Message, address: str) -> None:
    """Hand a message to the mail server; its id is the Message-ID, so copies can be told apart."""
    host = urlsplit(limits.public_url()).hostname or "localhost"
    mail = EmailMessage(
        message.subject,
        message.text,
        settings.DEFAULT_FROM_EMAIL,
        [address],
        headers={"Message-ID": f"<{message.id}@{host}>", "X-Attempt": str(message.attempt)},
        connection=get_connection(timeout=MAIL_TIMEOUT_S),
    )
    try:
        mail.send()
    except smtplib.SMTPRecipientsRefused as error:
        raise NotDelivered(f"The mail server refuses {address}.", final=True) from error
    except (smtplib.SMTPServerDisconnected, TimeoutError) as error:
        raise NotDelivered(f"The mail server broke off: {error}.", doubtful=True) from error
    except (smtplib.SMTPException, OSError) as error:
        raise NotDelivered(f"The mail server did not take it: {error}.") from error


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
