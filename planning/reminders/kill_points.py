"""
Named points in the sending of a message, for tests that kill a worker exactly there.

In service nobody listens and `reached` does nothing.
"""

from __future__ import annotations

from collections.abc import Callable

POINTS = ("written", "claimed", "checked", "rendered", "marked", "handed_over", "stamped")

_listeners: list[Callable[[str], None]] = []


def listen(listener: Callable[[str], None]) -> None:
    """Call `listener` with the name of each point reached from now on."""
    _listeners.append(listener)


def forget() -> None:
    """Call nobody any more."""
    _listeners.clear()


def reached(point: str) -> None:
    """Say that a worker has come to a point."""
    for listener in _listeners:
        listener(point)
