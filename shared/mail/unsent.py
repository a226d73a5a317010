"""What could not be mailed: each app registers a function, one page asks them all."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime

MOST_LISTED = 100


@dataclass(frozen=True)
class Unsent:
    """One message that did not leave."""

    since: datetime
    about: str
    to: str
    error: str
    given_up: bool
    path: str
    """Page on which to send it again."""


Unsents = Callable[[int], Iterable[Unsent]]
_known: list[Unsents] = []


def register_unsent(function: Unsents) -> None:
    """Let `function` be asked for a site's messages that did not leave, `MOST_LISTED` at most."""
    if function not in _known:
        _known.append(function)


def unsent(site_id: int) -> list[Unsent]:
    """Return what could not be mailed from a site, the newest first."""
    rows = [row for function in _known for row in function(site_id)]
    return sorted(rows, key=lambda row: row.since, reverse=True)[:MOST_LISTED]
