"""Which tools want a replacement cast, by when; how long one takes, planning says."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Protocol

USUAL_LEAD_DAYS = 21
"""Days taken where no order tells how long a casting takes; chosen here, no source."""
TOLD_AHEAD = timedelta(days=14)
"""How long before its casting must begin a replacement is proposed; chosen here, no source."""


@dataclass(frozen=True)
class Lead:
    """Days from ordering a replacement to its first shot, and where they come from."""

    days: int
    words: str


USUAL_LEAD = Lead(
    USUAL_LEAD_DAYS, f"{USUAL_LEAD_DAYS} days, as no order here tells how long a casting takes"
)


class Caster(Protocol):
    """Whoever plans castings: says how long one takes, and what is decided already."""

    def leads(self, site_id: int, tool_ids: Collection[int]) -> Mapping[int, Lead]:
        """Return the lead of each tool that orders tell something about."""

    def settled(self, site_id: int, today: date) -> set[int]:
        """Return the tools whose replacement is ordered, or was declined lately."""


_caster: list[Caster] = []


def register_caster(caster: Caster) -> None:
    """Say who plans castings; called once when the application starts."""
    _caster[:] = [caster]


def leads(site_id: int, tool_ids: Collection[int]) -> dict[int, Lead]:
    """Return the lead of each tool."""
    known = _caster[0].leads(site_id, tool_ids) if _caster and tool_ids else {}
    return {pk: known.get(pk, USUAL_LEAD) for pk in tool_ids}


def settled(site_id: int, today: date) -> set[int]:
    """Return the tools about whose replacement nobody need be asked."""
    return _caster[0].settled(site_id, today) if _caster else set()
