"""Who knows what reservations are for: the planning side registers itself, the audit asks."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal

OpenPurposes = Callable[[], Mapping[str, Decimal]]
"""Returns each purpose that still wants stock set aside, with the quantity over all containers."""

_known: dict[str, OpenPurposes] = {}


def register_open_purposes(prefix: str, function: OpenPurposes) -> None:
    """Let `function` answer for all purposes beginning with `prefix`; the last given holds."""
    _known[prefix] = function


def open_purposes() -> tuple[tuple[str, ...], dict[str, Decimal]]:
    """Return the beginnings somebody answers for, and what is wanted under them."""
    wanted: dict[str, Decimal] = {}
    for function in _known.values():
        wanted.update(function())
    return tuple(_known), wanted
