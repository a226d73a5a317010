"""Writes: castings that must not be used until what happened to their pot is judged."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from planning.batches.models import Batch, BatchEntry
from planning.pours.models import Pour
from planning.weigh_in.models import CastingQuarantine
from shared.errors import Invalid, ShopError

LEAST_REASON = 3


def quarantine_castings(
    *, entry: BatchEntry, words: str, now: datetime, pours: Iterable[int] | None = None
) -> list[CastingQuarantine]:
    """Put the castings of a batch, or some of them, into quarantine; a repeat changes nothing."""
    ids = pours_of(entry.batch) if pours is None else set(pours)
    return [
        CastingQuarantine.objects.get_or_create(
            pour_id=pour, entry=entry, defaults={"words": words[:400], "at": now, "by": entry.by}
        )[0]
        for pour in sorted(ids)
    ]


def pours_of(batch: Batch) -> set[int]:
    """Return the castings that some of a batch went into, or is to go into."""
    return set(batch.portions.values_list("lift__pour", flat=True))


def in_quarantine(batch: Batch) -> list[int]:
    """Return the castings of a batch that are in quarantine because of it, by id."""
    rows = CastingQuarantine.objects.filter(entry__batch=batch, released_at__isnull=True)
    return sorted(set(rows.values_list("pour", flat=True)))


def quarantines_of(pour: Pour) -> list[CastingQuarantine]:
    """Return why a casting is in quarantine now, the newest first; empty when it is not."""
    rows = pour.quarantines.filter(released_at__isnull=True)
    return list(rows.select_related("by", "entry__batch"))


def release(
    *, quarantine: CastingQuarantine, reason: str, now: datetime, by: Any = None
) -> CastingQuarantine:
    """Let a casting out of quarantine with the reason why it may be used; a repeat is harmless."""
    text = reason.strip()
    if len(text) < LEAST_REASON:
        raise Invalid.one(
            "reason",
            "too_short",
            f"The reason is {text or 'empty'}; write at least {LEAST_REASON} letters.",
        )
    CastingQuarantine.objects.filter(pk=quarantine.pk, released_at__isnull=True).update(
        released_at=now, released_by=by, release_reason=text[:200]
    )
    quarantine.refresh_from_db()
    return quarantine


def refuse_quarantined(pour: Pour) -> None:
    """Refuse to accept a casting while it is in quarantine."""
    row = pour.quarantines.filter(released_at__isnull=True).first()
    if row is not None:
        raise ShopError(
            f"{pour} is in quarantine: {row.words} Have quality release it, or record rework or "
            "reject.",
            code="casting_in_quarantine",
        )
