"""A lift of which some pots are in and the pot for the remainder will not come."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from planning.batches.models import BatchEntry, BatchStatus, EntryKind, Lift
from planning.clocks.actions import LEAST_REASON, end_lower, start_clock
from planning.pours.models import Pour
from shared.errors import Invalid, ShopError

LEAST_MISSING_KG = Decimal("0.001")
"""What is less than this short of its mass is a whole lift."""
GONE = (BatchStatus.SCRAPPED, BatchStatus.CANCELLED)


@dataclass(frozen=True)
class HalfPoured:
    """What is in a lift, and what is not and has no pot any more."""

    lift: Lift
    poured_kg: Decimal
    missing_kg: Decimal
    poured_at: datetime
    """When the last of it went in: its clock counts from then."""


def half_poured(pour: Pour) -> HalfPoured | None:
    """Return the lift of a pour that is poured in part and waits for no pot, or None."""
    for lift in pour.lifts.filter(cure__isnull=True).order_by("number"):
        portions = list(lift.portions.exclude(batch__status__in=GONE, poured_at__isnull=True))
        times = [portion.poured_at for portion in portions]
        if not times or None in times:
            return None
        kg = sum((portion.kg - portion.lost_kg for portion in portions), Decimal(0))
        missing_kg = lift.mass_kg - kg
        if missing_kg <= LEAST_MISSING_KG or kg <= 0:
            return None
        return HalfPoured(lift, kg, missing_kg, max(at for at in times if at is not None))
    return None


@transaction.atomic
def end_as_poured(*, pour: Pour, reason: str, now: datetime, by: Any = None) -> Lift:
    """
    Let a half-poured lift end at what is in it, and start its clock.

    What is in the mould cures from the last of it on, whether anybody says so or not; what is
    missing waits to be planned on top, by the opening of this lift. The log of the batch that
    was poured says who ended it and why.

    Raises
    ------
    ShopError
        Where no lift of the pour is half poured.
    Invalid
        Where the reason is too short.
    """
    pour = Pour.objects.select_for_update().get(pk=pour.pk)
    found = half_poured(pour)
    if found is None:
        raise ShopError(
            f"No lift of {pour} is poured in part with no pot to come; there is nothing to end "
            "lower. If a pot for it is planned that will not be mixed, scrap it first.",
            code="not_half_poured",
        )
    reason = reason.strip()
    if len(reason) < LEAST_REASON:
        raise Invalid.one(
            "reason",
            "too_short",
            f"The reason is {reason or 'empty'}; write at least {LEAST_REASON} letters.",
        )
    lift = end_lower(lift=found.lift, missing_kg=found.missing_kg)
    start_clock(lift=lift, poured_at=found.poured_at, now=now)
    _note(found, reason, now, by)
    return lift


def _note(found: HalfPoured, reason: str, now: datetime, by: Any) -> None:
    last = found.lift.portions.filter(poured_at=found.poured_at).latest("pk")
    words = (
        f"Lift {found.lift.number} ends at what is in it, {found.poured_kg:.3f} kg; "
        f"{found.missing_kg:.3f} kg is missing and its pot will not come: {reason}"
    )
    BatchEntry.objects.create(
        batch=last.batch,
        key=f"as-poured:{found.lift.pk}",
        kind=EntryKind.REMARK,
        at=now,
        recorded_at=now,
        by=by,
        words=words[:400],
    )
