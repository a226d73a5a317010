"""
What lies behind the strings the ledger keeps for the other side of a movement.

The stores know that 4.2 kg of a lot went to `batch:7`, not what a batch is. Whoever writes such
strings registers a provider for their beginning, and the trace asks it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Protocol


@dataclass(frozen=True)
class Part:
    """A share of a use that went into one casting."""

    casting: str
    """As a tool's half names it: `pour:7`."""
    label: str
    tool_id: int | None
    mass_kg: Decimal | None
    doubts: tuple[str, ...] = ()
    """Why the casting must not be used until somebody has judged it."""


@dataclass(frozen=True)
class Use:
    """What a counterpart stands for: one batch, one coat, with who, when, how warm."""

    counterpart: str
    label: str
    url: str
    at: datetime | None
    people: tuple[str, ...]
    temperatures: tuple[tuple[str, Decimal], ...]
    """Name and degrees C: ("shop", 19.5), ("highest in the casting", 61.0)."""
    parts: tuple[Part, ...]
    site_id: int | None = None


class Provider(Protocol):
    """Answers for all counterparts of one beginning."""

    def uses(self, counterparts: Sequence[str]) -> Mapping[str, Use]:
        """Return what each counterpart stands for; unknown ones are left out."""

    def counterparts_of(self, castings: Sequence[str]) -> Iterable[str]:
        """Return the counterparts that went into the castings: pour:7 gives batch:3, batch:4."""

    def castings_of(self, tool_id: int) -> Iterable[str]:
        """Return the castings of a tool, those under way and those given up as well."""


_providers: dict[str, Provider] = {}


def register_trace(prefix: str, provider: Provider) -> None:
    """Let a provider answer for the counterparts that begin with `prefix`, such as `batch:`."""
    _providers[prefix] = provider


def uses(counterparts: Iterable[str]) -> dict[str, Use]:
    """Return what is known of the counterparts, each provider asked once."""
    wanted = sorted(set(counterparts))
    found: dict[str, Use] = {}
    for prefix, provider in _providers.items():
        own = [text for text in wanted if text.startswith(prefix)]
        if own:
            found.update(provider.uses(own))
    return found


def castings_of(tool_id: int) -> set[str]:
    """Return every casting of a tool that a provider knows, demoulded or not."""
    return {text for p in _providers.values() for text in p.castings_of(tool_id)}


def counterparts_of(castings: Iterable[str]) -> set[str]:
    """Return everything that went into the castings, over all providers."""
    wanted = sorted(set(castings))
    if not wanted:
        return set()
    return {text for p in _providers.values() for text in p.counterparts_of(wanted)}
