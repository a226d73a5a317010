"""
Which addresses a webhook may be posted to, and a connection that goes nowhere else.

Every address a name resolves to is tested and the connection is made to a tested one, without a
second look-up, so that a name cannot answer one thing to the test and another to the call.
"""

from __future__ import annotations

import http.client
import socket
import ssl
from contextlib import suppress
from dataclasses import dataclass
from ipaddress import (
    IPv4Address,
    IPv4Network,
    IPv6Address,
    IPv6Network,
    ip_address,
    ip_network,
)
from threading import Timer
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings

from shared.errors import Invalid

NAT64 = ip_network("64:ff9b::/96")
LOCAL_NAT64 = ip_network("64:ff9b:1::/48")
SITE_LOCAL = ip_network("fec0::/10")


@dataclass(frozen=True)
class Target:
    """A tested place to post to."""

    host: str
    port: int
    path: str
    address: str


class Refused(Exception):
    """An address that may not be posted to; the text says why."""


class NotFound(Refused):
    """A name that leads nowhere at present."""


def own_networks() -> list[IPv4Network | IPv6Network]:
    """Return networks of the shop itself that may be posted to although they are private."""
    return [ip_network(text) for text in getattr(settings, "WEBHOOK_ALLOWED_NETWORKS", ())]


def ports() -> list[int]:
    """Return the ports that may be posted to, ascending."""
    return sorted({443, *getattr(settings, "WEBHOOK_ALLOWED_PORTS", ())})


def check_address(url: str, field: str = "webhook_url") -> None:
    """
    Refuse an address that may not be posted to, for the field it was given in.

    A name that cannot be found now is taken: it is looked up and tested again for every message.
    """
    try:
        resolve(url)
    except NotFound:
        return
    except Refused as why:
        raise Invalid.one(field, "forbidden", f"{field}: {why}") from why


def _parse(url: str) -> tuple[str, int, str]:
    try:
        parts = urlsplit(url)
        port = parts.port or 443
    except ValueError as error:
        raise Refused(f"The address cannot be read: {error}.") from error
    if parts.scheme != "https" or not parts.hostname:
        raise Refused("The address must begin with https:// and name a host.")
    if parts.username or parts.password:
        raise Refused("The address must not hold a name or password.")
    if port not in ports():
        allowed = ", ".join(map(str, ports()))
        raise Refused(f"The address names port {port}; allowed: {allowed}.")
    if any(sign.isspace() or not sign.isprintable() for sign in url):
        raise Refused("The address must not hold spaces or control characters.")
    path = parts.path or "/"
    return parts.hostname, port, f"{path}?{parts.query}" if parts.query else path


def resolve(url: str) -> Target:
    """Return where to connect to; every address of the name has been tested."""
    host, port, path = _parse(url)
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except OSError as error:
        raise NotFound(f"{host} cannot be found: {error}.") from error
    addresses = list(dict.fromkeys(str(info[4][0]) for info in found))
    for address in addresses:
        if not is_allowed(ip_address(address.partition("%")[0])):
            raise Refused(f"{host} leads to {address}, which is not a public address.")
    if not addresses:
        raise Refused(f"{host} has no address.")
    return Target(host, port, path, addresses[0])


def is_allowed(address: IPv4Address | IPv6Address) -> bool:
    """Whether an address is public, also inside IPv6 wrappers, or in one of our own networks."""
    if any(address in net for net in own_networks() if net.version == address.version):
        return True
    if isinstance(address, IPv6Address):
        inner = _inner(address)
        if inner is not None:
            return is_allowed(inner)
        if address in LOCAL_NAT64 or address in SITE_LOCAL or address.teredo is not None:
            return False
    return address.is_global and not address.is_multicast and not address.is_reserved


def _inner(address: IPv6Address) -> IPv4Address | None:
    """Return the IPv4 address an IPv6 address stands for (mapped, 6to4, NAT64)."""
    if address in NAT64:
        return IPv4Address(int(address) & 0xFFFFFFFF)
    return address.ipv4_mapped or address.sixtofour


class _Lines:
    """What an answer is read from; notes whether it ended while a line was wanted."""

    def __init__(self, file: Any) -> None:
        self._file, self.ended = file, False

    def readline(self, *size: int) -> bytes:
        line: bytes = self._file.readline(*size)
        self.ended = self.ended or not line.endswith(b"\n")
        return line

    def __getattr__(self, name: str) -> Any:
        return getattr(self._file, name)


class WholeHead(http.client.HTTPResponse):
    """
    An answer whose head has come to its end, the empty line.

    The standard library takes a connection that ends in the middle of the headers for their end:
    half of "200 OK" from a receiver that died would count as its word.
    """

    def begin(self) -> None:
        """Read status and headers; `http.client.IncompleteRead` where they break off."""
        file = self.fp
        lines = _Lines(file)
        self.fp = lines  # type: ignore[assignment]
        try:
            super().begin()
        finally:
            if self.fp is not None:
                self.fp = file
        if lines.ended:
            raise http.client.IncompleteRead(b"")


class PinnedConnection(http.client.HTTPSConnection):
    """
    An HTTPS connection to one tested address; the certificate must be the host's.

    `timeout_s` holds for the whole call, from connecting to the last byte of the answer.
    """

    response_class = WholeHead

    def __init__(self, target: Target, timeout_s: float, context: ssl.SSLContext) -> None:
        super().__init__(target.host, target.port, timeout=timeout_s, context=context)
        self._target, self._context_ = target, context
        self._limit = Timer(timeout_s, self._cut)
        self._limit.daemon = True
        self.ran_out = False

    def connect(self) -> None:
        """Connect to the tested address without looking the name up again."""
        self._limit.start()
        plain = socket.create_connection((self._target.address, self._target.port), self.timeout)
        try:
            self.sock = self._context_.wrap_socket(
                plain, server_hostname=self._target.host, do_handshake_on_connect=False
            )
            self.sock.do_handshake()
        except BaseException:
            plain.close()
            raise

    def close(self) -> None:
        """Close the connection; its time is no longer watched."""
        self._limit.cancel()
        super().close()

    def _cut(self) -> None:
        """
        End the whole call.

        A timeout of the socket alone begins again with every byte, so that a receiver who sends
        one now and then would hold the sender for as long as it likes.
        """
        self.ran_out = True
        if isinstance(self.sock, socket.socket):
            with suppress(OSError):
                # The plain shutdown: the one of TLS would take the object from under the reader.
                socket.socket.shutdown(self.sock, socket.SHUT_RDWR)
