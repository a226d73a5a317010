"""Trying the mail server."""

from __future__ import annotations

import smtplib
from datetime import datetime

from django.core.mail import EmailMessage, get_connection
from django.db import transaction

from shared.errors import ShopError
from shared.mail import backend
from shared.mail.models import MailServer


def send_trial(to: str, now: datetime) -> None:
    """
    Send a short message and keep what came of it.

    Raises
    ------
    ShopError
        The server did not take it, with its words.
    """
    message = EmailMessage(
        "A trial from the casting shop",
        f"Mail leaves the shop. This was asked for at {now:%Y-%m-%d %H:%M} UTC.\n",
        backend.sender(),
        [to],
        connection=get_connection(),
    )
    try:
        message.send()
    except (smtplib.SMTPException, OSError) as error:
        words = understood(error)
        _keep(now, words)
        raise ShopError(words, "not_sent", 502) from error
    _keep(now, "")


@transaction.atomic
def _keep(now: datetime, outcome: str) -> None:
    MailServer.objects.filter(pk=1).update(tried_at=now, outcome=outcome[:300])


def understood(error: Exception) -> str:
    """Return what a mail server's refusal means, in words."""
    if isinstance(error, backend.MailOff):
        return backend.OFF
    if isinstance(error, smtplib.SMTPAuthenticationError):
        return f"The server refuses account or password: {_said(error.smtp_error)}"
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        told = [f"{to}: {code} {_said(said)}" for to, (code, said) in error.recipients.items()]
        return f"The server refuses the address: {'; '.join(told)[:200]}"
    if isinstance(error, smtplib.SMTPSenderRefused):
        return f"The server refuses the sender's address: {_said(error.smtp_error)}"
    if isinstance(error, smtplib.SMTPResponseException):
        return f"The server answers {error.smtp_code}: {_said(error.smtp_error)}"
    if isinstance(error, TimeoutError):
        return "The server does not answer; look at its name, the port and the encryption."
    return f"The server did not take it: {str(error)[:200]}"


def _said(words: bytes | str) -> str:
    text = words.decode("utf-8", "replace") if isinstance(words, bytes) else words
    return " ".join(text.split())[:200]
