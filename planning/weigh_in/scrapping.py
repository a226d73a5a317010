"""Writes: a pot that is scrapped, and one of which it is told later that it had been mixed."""

from __future__ import annotations

from planning.batches.models import BatchEntry, BatchStatus, EntryKind
from planning.pours.models import Pour
from planning.weigh_in.gate import Passing, judge
from planning.weigh_in.keeping import BatchFixed, kept
from planning.weigh_in.losses import leave_to_plan
from planning.weigh_in.quarantine import pours_of, quarantine_castings
from shared import clock
from shop import stores


def scrap(entry: BatchEntry) -> None:
    """A pot that died: what was weighed stays issued; what was not is free again."""
    batch = entry.batch
    if batch.status == BatchStatus.POURED:
        raise BatchFixed(
            f"Batch {batch.number} is poured; record a short pour or a remark instead.",
            code="batch_fixed",
        )
    batch.status = BatchStatus.SCRAPPED
    batch.version += 1
    batch.save(update_fields=["status", "version"])
    stores.free_reservations(prefix=f"batch:{batch.pk}:")
    # Should somebody tell later that it was mixed, these are the castings it was for.
    entry.facts |= {"pours": sorted(pours_of(batch))}
    leave_to_plan(batch)


def contact_of_scrapped(entry: BatchEntry, passing: Passing) -> BatchEntry:
    """
    Record that a pot had been mixed before somebody else, who did not know, scrapped it.

    Raises
    ------
    BatchFixed
        If it was scrapped before the time told: then one of the two times is wrong.
    """
    batch = entry.batch
    rows = list(batch.entries.filter(kind=EntryKind.SCRAPPED).order_by("at", "pk"))
    scrapped = rows[0]
    at, scrapped_at = (clock.local(moment, batch.site) for moment in (entry.at, scrapped.at))
    if scrapped.at <= entry.at:
        raise BatchFixed(
            f"Batch {batch.number} was scrapped at {scrapped_at:%H:%M}; the first contact that "
            f"you tell of is at {at:%H:%M}. Was it mixed before it was scrapped? Then tell that "
            "time. Was another pot mixed? Then record it at that batch. Was this one mixed all "
            "the same? Then record a remark, and have its castings judged.",
            code="scrapped_before",
        )
    batch.contact_at = entry.at
    batch.version += 1
    batch.save(update_fields=["contact_at", "version"])
    verdict = judge(entry, [], passing)
    found = kept(entry, verdict, ())
    who = "" if entry.by is None else f" by {entry.by}"
    told = " ".join(one.words for one in verdict.hindrances)
    pours = pours_of(batch).union(*(row.facts.get("pours", ()) for row in rows))
    quarantine_castings(
        entry=entry,
        words=f"Batch {batch.number} was mixed at {at:%H:%M}, as was told later{who}, and "
        f"scrapped at {scrapped_at:%H:%M} by somebody who did not know of it. Find out whether "
        f"any of it was poured. {told}".strip(),
        now=entry.recorded_at,
        pours=Pour.objects.filter(pk__in=pours).values_list("pk", flat=True),
    )
    return found
