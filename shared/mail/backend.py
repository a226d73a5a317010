"""How mail leaves: by the server of the environment, else by the one entered, else not at all."""

from __future__ import annotations

import smtplib
from contextlib import suppress
from typing import Any

from django.conf import settings
from django.core.mail import get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.core.mail.backends.smtp import EmailBackend as Smtp

from shared.mail.models import MailServer, Security

NAME = "shared.mail.backend.ShopMail"
OFF = "No mail server is set, so nothing is mailed; enter one under Set-up, Mail."


class MailOff(OSError):
    """There is no server that mail could leave by."""

    def __init__(self) -> None:
        super().__init__(OFF)


def by_environment() -> bool:
    """Tell whether the settings name the server, so that none is entered by page."""
    return settings.EMAIL_BACKEND != NAME or bool(settings.EMAIL_HOST)


def is_on() -> bool:
    """Tell whether mail can leave the shop at all."""
    return by_environment() or bool(entered().host)


def entered() -> MailServer:
    """Return the server entered by page; one without a host if there is none."""
    return MailServer.objects.filter(pk=1).first() or MailServer(pk=1)


def sender() -> str:
    """Return the address mail comes from."""
    if not by_environment():
        return entered().sender or str(settings.DEFAULT_FROM_EMAIL)
    return str(settings.DEFAULT_FROM_EMAIL)


def connection_of(server: MailServer, **options: Any) -> Smtp:
    """Return a connection to a server entered by page, not opened yet."""
    return Smtp(
        host=server.host,
        port=server.port,
        username=server.username,
        password=server.password,
        use_tls=server.security == Security.STARTTLS,
        use_ssl=server.security == Security.TLS,
        timeout=options.pop("timeout", None) or settings.EMAIL_TIMEOUT,
        **options,
    )


class ShopMail(BaseEmailBackend):
    """Asks at each connection which server there is; raises `MailOff` where there is none."""

    def __init__(self, fail_silently: bool = False, **options: Any) -> None:
        super().__init__(fail_silently=fail_silently)
        self._options = options
        self._by: Any = None

    def open(self) -> bool | None:
        """Connect."""
        if self._by is None:
            self._by = self._chosen()
        return bool(self._by.open())

    def _chosen(self) -> Any:
        if settings.EMAIL_HOST:
            smtp = "django.core.mail.backends.smtp.EmailBackend"
            return get_connection(smtp, fail_silently=self.fail_silently, **self._options)
        server = entered()
        if not server.host:
            raise MailOff
        return connection_of(server, **self._options)

    def close(self) -> None:
        """Hang up."""
        if self._by is not None:
            with suppress(smtplib.SMTPException, OSError):
                self._by.close()

    def send_messages(self, messages: Any) -> int:
        """Hand messages to the server; the number it took."""
        self.open()
        return int(self._by.send_messages(messages) or 0)
