"""Writes: what a short pour or a leak takes from a lift, and what a pot past its life leaves."""

from __future__ import annotations

from decimal import Decimal

from django.db.models import F

from planning.batches.models import Batch, BatchEntry, BatchPortion, BatchStatus, EntryKind
from planning.clocks import actions as clocks
from planning.pours.models import Pour, PourStatus
from shared.change import change_all
from shared.errors import Invalid

MOST_LOST = Decimal("0.99")
"""Where less stays in the mould the lift counts as lost."""


def take_from_lift(entry: BatchEntry) -> None:
    """
    Take what ran out or never went in from its lift; the entry then says how much it was.

    The lift ends lower, its own clock runs on, and the casting is not complete until the rest
    has been planned and poured. Stock does not change: what was weighed is used up.
    """
    portion = _portion_of(entry)
    kg = _missing_kg(entry, portion)
    entry.portion = portion
    entry.facts["kg"] = str(kg)
    if kg == 0:
        return
    most = most_missing(portion)
    if kg > most:
        raise Invalid.one(
            "facts/kg",
            "too_much",
            f"Missing, kg, is {kg.normalize():f} kg; of this portion of {portion.kg:.3f} kg at "
            f"most {most:.3f} kg can be missing. If nothing is left in the mould, reject the "
            "casting on its page.",
            value=str(kg),
            limit=f"{most:.4f}",
            unit="kg",
        )
    BatchPortion.objects.filter(pk=portion.pk).update(lost_kg=F("lost_kg") + kg)
    clocks.end_lower(lift=portion.lift, missing_kg=kg)


def most_missing(portion: BatchPortion) -> Decimal:
    """Return how much of a portion can be missing from its lift, kg."""
    return portion.lift.mass_kg.min(portion.kg - portion.lost_kg) * MOST_LOST


def _portion_of(entry: BatchEntry) -> BatchPortion:
    if entry.portion is not None:
        return entry.portion
    portions = list(entry.batch.portions.select_related("lift"))
    if len(portions) != 1:
        raise Invalid.one(
            "portion",
            "missing",
            f"portion is empty; batch {entry.batch.number} has {len(portions)} portions, name "
            "the one it happened to.",
        )
    return portions[0]


def _missing_kg(entry: BatchEntry, portion: BatchPortion) -> Decimal:
    given = entry.facts.get("kg")
    if given is not None:
        return Decimal(str(given))
    if entry.kind == EntryKind.SHORT and portion.poured_kg is not None:
        less = (portion.kg - portion.poured_kg).quantize(Decimal("0.0001"))
        if less > 0:
            return less
    raise Invalid.one(
        "facts/kg",
        "missing",
        "facts/kg is empty; give how many kg are missing from the lift, 0 if none.",
        unit="kg",
    )


def leave_to_plan(batch: Batch) -> None:
    """Free what a pot past its life was to pour; pours of which nothing is cast wait again."""
    open_portions = BatchPortion.objects.filter(batch=batch, poured_at__isnull=True)
    pours = set(open_portions.values_list("lift__pour", flat=True))
    open_portions.delete()
    at_work = (BatchStatus.MIXING, BatchStatus.POURED)
    begun = Pour.objects.filter(pk__in=pours, lifts__portions__batch__status__in=at_work)
    still = Pour.objects.filter(pk__in=pours, status=PourStatus.POURING)
    change_all(still.exclude(pk__in=begun.values("pk")), status=PourStatus.PLANNED)
