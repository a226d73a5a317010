"""Where a container stood and how warm it was there, against what its material bears."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from itertools import zip_longest

from shop.lots.models import Lot, Placement
from shop.sites.models import StorageSpell


@dataclass(frozen=True)
class Breach:
    """A stretch of time in which a container was kept outside its material's range."""

    container: str
    location: str
    starts_at: datetime
    ends_at: datetime
    lowest_c: Decimal
    highest_c: Decimal
    words: str


def breaches(lot: Lot) -> list[Breach]:
    """Return every recorded breach of the lot's storage range; two queries."""
    low, high = lot.material.storage_low_c, lot.material.storage_high_c
    if low is None and high is None:
        return []
    stays = _stays(lot)
    spells = StorageSpell.objects.filter(location__in={stay[1].location_id for stay in stays})
    found = []
    for spell in spells.select_related("location"):
        words = _outside(spell, low, high)
        for code, placement, until in stays:
            overlap = placement.location_id == spell.location_id and (
                spell.ends_at > placement.since and (until is None or spell.starts_at < until)
            )
            if words and overlap:
                found.append(
                    Breach(
                        code,
                        spell.location.name,
                        max(spell.starts_at, placement.since),
                        min(spell.ends_at, until) if until else spell.ends_at,
                        spell.lowest_c,
                        spell.highest_c,
                        words,
                    )
                )
    return sorted(found, key=lambda b: (b.starts_at, b.container))


def _stays(lot: Lot) -> list[tuple[str, Placement, datetime | None]]:
    rows = Placement.objects.filter(container__lot=lot).select_related("container")
    ordered = list(rows.order_by("container", "since", "id"))
    stays = []
    for placement, later in zip_longest(ordered, ordered[1:]):
        same = later is not None and later.container_id == placement.container_id
        stays.append(
            (placement.container.code, placement, later.since if later and same else None)
        )
    return stays


def _outside(spell: StorageSpell, low: Decimal | None, high: Decimal | None) -> str:
    if low is not None and spell.lowest_c < low:
        return f"down to {spell.lowest_c} °C, at least {low} °C is asked: look for crystals, warm"
    if high is not None and spell.highest_c > high:
        return f"up to {spell.highest_c} °C, at most {high} °C is asked: shelf life may be shorter"
    return ""
