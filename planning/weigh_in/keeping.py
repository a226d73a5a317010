"""Writes: an entry that came through the gate, kept with what was found there."""

from __future__ import annotations

from collections.abc import Iterable

from planning.batches.models import BatchEntry, EntryKind
from planning.weigh_in.gate import Verdict
from planning.weigh_in.models import GateRecord
from planning.weigh_in.quarantine import quarantine_castings
from shared.errors import ShopError

DONE = {
    EntryKind.CONTACT: "Mixed",
    EntryKind.POURED: "Poured",
    EntryKind.UNSTIRRED: "Weighed",
}


class BatchFixed(ShopError):
    """A batch that is past the step asked for."""


def kept(entry: BatchEntry, verdict: Verdict, pours: Iterable[int]) -> BatchEntry:
    """Keep an entry that came through the gate with what was found there."""
    entry.save()
    if not verdict.late and not verdict.hindrances:
        return entry
    GateRecord.objects.create(
        entry=entry,
        late=verdict.late,
        hindrances=[{"code": one.code, "words": one.words} for one in verdict.hindrances],
        reason=verdict.passing.reason,
        decided_by=verdict.passing.decided_by,
    )
    if verdict.doubtful:
        what = DONE[EntryKind(entry.kind)]
        told = " ".join(one.words for one in verdict.hindrances)
        quarantine_castings(
            entry=entry,
            words=f"{what} although it was not ready: {told}",
            now=entry.recorded_at,
            pours=pours,
        )
    return entry
