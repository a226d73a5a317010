"""A mail server that takes everything and remembers when it came."""

import email
import socketserver
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass


@dataclass(frozen=True)
class Letter:
    """A message as it was taken, with the moment by this machine's clock."""

    at: float
    id: str
    to: str
    subject: str
    text: str


class _Talk(socketserver.StreamRequestHandler):
    """As much of RFC 5321 as a sender needs."""

    def handle(self) -> None:
        self._say("220 postbox")
        while line := self.rfile.readline():
            word = line[:4].upper()
            if word == b"DATA":
                self._take()
            elif word == b"EHLO":
                self._say("250 postbox")
            elif word == b"QUIT":
                self._say("221 bye")
                return
            else:
                self._say("250 ok")

    def _take(self) -> None:
        self._say("354 go on")
        lines = []
        while (line := self.rfile.readline()) not in (b".\r\n", b""):
            lines.append(line[1:] if line.startswith(b"..") else line)
        found = email.message_from_bytes(b"".join(lines))
        subject = str(email.header.make_header(email.header.decode_header(found["Subject"])))
        text = found.get_payload(decode=True).decode()
        letter = Letter(time.time(), found["Message-ID"], found["To"], subject, text)
        self.server.letters.append(letter)  # type: ignore[attr-defined]
        self._say("250 taken")

    def _say(self, words: str) -> None:
        self.wfile.write(words.encode() + b"\r\n")


class Postbox(socketserver.ThreadingTCPServer):
    """Listens on a free port; `letters` grows."""

    allow_reuse_address = True
    daemon_threads = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Talk)
        self.letters: list[Letter] = []
        self.port = self.server_address[1]

    def handle_error(self, request: object, client_address: object) -> None:
        """A sender that was killed hangs up; that is what the test is about."""


@contextmanager
def postbox() -> Iterator[Postbox]:
    """Open a postbox for a test."""
    with Postbox() as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield server
        server.shutdown()
