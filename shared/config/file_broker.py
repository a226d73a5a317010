"""
Messages to the worker as files, for a shop without a broker of its own.

Kombu's transport of that kind writes a message into the file that readers already see, so that a
reader who comes between finds it empty and its worker ends. Here a message appears whole or not
at all, and one that can't be read is left out: what is due stands in the database, not in here.
"""

from __future__ import annotations

import logging
import os
import time
import uuid
from collections.abc import Callable
from pathlib import Path
from queue import Empty
from typing import Any, TypeVar

from kombu.transport import TRANSPORT_ALIASES, filesystem
from kombu.utils.encoding import bytes_to_str, str_to_bytes
from kombu.utils.json import dumps, loads

log = logging.getLogger(__name__)

SCHEME = "shopfiles"
TRIES, PAUSE_S = 40, 0.05
T = TypeVar("T")


class Channel(filesystem.Channel):
    """Writes aside and renames; reads by renaming away, so that one reader wins."""

    def _put(self, queue: Any, payload: Any, **_: Any) -> None:  # type: ignore[override]
        """Put a message onto a queue."""
        name = f"{round(time.monotonic() * 1000)}_{uuid.uuid4()}.{queue}.msg"
        folder = Path(self.data_folder_out)
        aside = folder / f"{name}.part"
        aside.write_bytes(str_to_bytes(dumps(payload)))
        aside.rename(folder / name)

    def _get(self, queue: Any, timeout: Any = None) -> Any:
        """Take the oldest message off a queue."""
        folder = Path(self.data_folder_in)
        for name in sorted(os.listdir(folder)):
            if name.partition(".")[2] != f"{queue}.msg":
                continue
            taken = folder / f"{name}.taken"
            try:
                (folder / name).rename(taken)
                payload = taken.read_bytes()
                taken.unlink()
            except OSError:
                continue  # another reader was quicker
            try:
                return loads(bytes_to_str(payload))
            except ValueError:
                log.warning("A message of %d bytes could not be read; left out.", len(payload))
        raise Empty

    def get_table(self, exchange: Any) -> Any:
        """Return the queues of an exchange."""
        return _again(lambda: super(Channel, self).get_table(exchange))

    def _queue_bind(self, exchange: str, routing_key: str, pattern: str, queue: str) -> None:
        _again(lambda: super(Channel, self)._queue_bind(exchange, routing_key, pattern, queue))


def _again(work: Callable[[], T]) -> T:
    """Read a table anew while another process is in the middle of writing it."""
    for _ in range(TRIES):
        try:
            return work()
        except ValueError:
            time.sleep(PAUSE_S)
    return work()


class Transport(filesystem.Transport):
    """The transport behind `shopfiles://`."""

    Channel = Channel


def register() -> None:
    """Let a broker's address begin with `shopfiles://`."""
    TRANSPORT_ALIASES[SCHEME] = f"{__name__}:Transport"
