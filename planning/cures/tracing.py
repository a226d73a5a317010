"""What the stores' ledger means by `batch:7` and `pour:7`, told to the trace when it asks."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal, InvalidOperation

from django.urls import reverse

from planning.batches.models import Batch, BatchEntry, BatchPortion, EntryKind, Weighing
from planning.clocks.models import Cure
from planning.pours.models import Pour, PourStep
from shop.stores import TracePart, TraceUse

BATCH, POUR = "batch:", "pour:"
READINGS = {"air_c": "air", "surface_c": "surface"}


def _ids(texts: Iterable[str], beginning: str) -> list[int]:
    tails = [text.removeprefix(beginning) for text in texts if text.startswith(beginning)]
    return [int(tail) for tail in tails if tail.isascii() and tail.isdigit()]


class Batches:
    """Pots of resin: who weighed and poured, how warm it was, into which castings."""

    def uses(self, counterparts: Sequence[str]) -> Mapping[str, TraceUse]:
        """Return what each batch is; the same few queries for one or many."""
        ids = _ids(counterparts, BATCH)
        portions: dict[int, list[BatchPortion]] = defaultdict(list)
        rows = BatchPortion.objects.filter(batch__in=ids).select_related("lift__pour__order__tool")
        rows = rows.prefetch_related("lift__pour__quarantines")
        for portion in rows.order_by("batch", "order"):
            portions[portion.batch_id].append(portion)
        people, warm = _people_of_batches(ids), _temperatures(ids, portions)
        return {
            f"{BATCH}{batch.pk}": TraceUse(
                counterpart=f"{BATCH}{batch.pk}",
                label=f"Batch {batch.number}",
                url=reverse("batch", args=[batch.pk]),
                at=batch.poured_at or batch.contact_at,
                people=tuple(sorted(people[batch.pk])),
                temperatures=tuple(warm[batch.pk]),
                parts=tuple(_part(portion) for portion in portions[batch.pk]),
                site_id=batch.site_id,
            )
            for batch in Batch.objects.filter(pk__in=ids)
        }

    def counterparts_of(self, castings: Sequence[str]) -> Iterable[str]:
        """Return the batches that went into the castings."""
        rows = BatchPortion.objects.filter(lift__pour__in=_ids(castings, POUR))
        return [f"{BATCH}{pk}" for pk in set(rows.values_list("batch", flat=True))]

    def castings_of(self, tool_id: int) -> Iterable[str]:
        """Return nothing: castings are pours."""
        return ()


def _part(portion: BatchPortion) -> TracePart:
    pour = portion.lift.pour
    poured = portion.kg if portion.poured_kg is None else portion.poured_kg
    label = f"{pour.order.tool.code} {pour.half}, lift {portion.lift.number}"
    doubts = tuple(row.words for row in pour.quarantines.all() if row.released_at is None)
    return TracePart(f"{POUR}{pour.pk}", label, pour.order.tool_id, poured, doubts)


def _people_of_batches(ids: list[int]) -> dict[int, set[str]]:
    found: dict[int, set[str]] = defaultdict(set)
    weighings = Weighing.objects.filter(line__batch__in=ids, by__isnull=False)
    for row in weighings.select_related("by", "line"):
        found[row.line.batch_id].add(str(row.by))
    entries = BatchEntry.objects.filter(batch__in=ids, by__isnull=False)
    for entry in entries.select_related("by"):
        found[entry.batch_id].add(str(entry.by))
    return found


def _temperatures(
    ids: list[int], portions: Mapping[int, list[BatchPortion]]
) -> dict[int, list[tuple[str, Decimal]]]:
    """Return what was read at the pot, and the highest seen in the castings it went into."""
    found: dict[int, list[tuple[str, Decimal]]] = defaultdict(list)
    entries = BatchEntry.objects.filter(batch__in=ids, kind=EntryKind.CONDITIONS)
    for entry in entries.order_by("at", "id"):
        for name, words in READINGS.items():
            value = _number(entry.facts.get(name))
            if value is not None:
                found[entry.batch_id].append((words, value))
    lifts = {portion.lift_id for rows in portions.values() for portion in rows}
    cures = Cure.objects.filter(lift__in=lifts).values_list("lift", "peak_c")
    peaks = {lift: peak for lift, peak in cures if peak is not None}
    for batch, rows in portions.items():
        seen = [peaks[portion.lift_id] for portion in rows if portion.lift_id in peaks]
        if seen:
            found[batch].append(("highest in the casting", max(seen)))
    return found


def _number(value: object) -> Decimal | None:
    try:
        return None if value in (None, "") else Decimal(str(value))
    except InvalidOperation:
        return None


class Pours:
    """What the steps of a pour used: release agent, barriers, consumables."""

    def uses(self, counterparts: Sequence[str]) -> Mapping[str, TraceUse]:
        """Return what each pour is; the same few queries for one or many."""
        ids = _ids(counterparts, POUR)
        people: dict[int, set[str]] = defaultdict(set)
        steps = PourStep.objects.filter(pour__in=ids, done_by__isnull=False)
        for step in steps.select_related("done_by"):
            people[step.pour_id].add(str(step.done_by))
        return {
            f"{POUR}{pour.pk}": TraceUse(
                counterpart=f"{POUR}{pour.pk}",
                label=f"Steps of {pour.order.tool.code} {pour.half}",
                url=reverse("pour", args=[pour.pk]),
                at=None,
                people=tuple(sorted(people[pour.pk])),
                temperatures=(),
                parts=(
                    TracePart(
                        f"{POUR}{pour.pk}",
                        f"{pour.order.tool.code} {pour.half}",
                        pour.order.tool_id,
                        None,
                    ),
                ),
                site_id=pour.order.site_id,
            )
            for pour in Pour.objects.filter(pk__in=ids).select_related("order__tool")
        }

    def counterparts_of(self, castings: Sequence[str]) -> Iterable[str]:
        """Return the castings themselves: the ledger names them as the register does."""
        return [f"{POUR}{pk}" for pk in _ids(castings, POUR)]

    def castings_of(self, tool_id: int) -> Iterable[str]:
        """Return all pours ordered for a tool, whatever became of them."""
        pours = Pour.objects.filter(order__tool=tool_id).order_by("pk")
        return [f"{POUR}{pk}" for pk in pours.values_list("pk", flat=True)]
