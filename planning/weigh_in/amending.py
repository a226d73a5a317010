"""Writes: a weighing put right, and what that means for the castings of its pot."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from planning.batches.lines import purpose
from planning.batches.models import (
    Batch,
    BatchEntry,
    BatchPortion,
    EntryKind,
    Weighing,
)
from planning.weigh_in import off_ratio
from planning.weigh_in.actions import OPEN, settle_status
from planning.weigh_in.contents import ZERO, weighed_kg
from planning.weigh_in.models import WeighingAmendment
from shared.errors import Invalid, ShopError
from shop import stores

LEAST_REASON = 3
WHERE = (
    "This movement is a weighing of a batch. Open the batch and put the weighing right there: the "
    "ledger follows, and what it means for the castings is judged."
)
"""What somebody reads who undoes a weighing's movement in the ledger."""


@transaction.atomic
def amend_weighing(
    *, weighing: Weighing, to_kg: Decimal, reason: str, key: str, now: datetime, by: Any = None
) -> WeighingAmendment:
    """
    Put a weighing right and draw the consequences. A repeat returns the first.

    The ledger gets the difference. A pot that is still being weighed is judged anew. A pot that
    was mixed outside its ratio has its castings quarantined and asks for a new plan; where it
    turns out that less was weighed than is recorded as poured, what was poured is lowered alike.
    """
    found = WeighingAmendment.objects.filter(key=key).first()
    if found is not None:
        if found.weighing_id != weighing.pk or found.to_kg != to_kg:
            raise ShopError(
                f"Key {key} was used for another amendment; a new one needs a new key.",
                code="key_reused",
            )
        return found
    batch = Batch.objects.select_for_update().get(pk=weighing.line.batch_id)
    words, before = _checked(weighing, to_kg, reason)
    amendment = WeighingAmendment.objects.create(
        weighing=weighing, key=key, from_kg=before, to_kg=to_kg, reason=words, at=now, by=by
    )
    _book(amendment, batch)
    entry = BatchEntry(
        batch=batch,
        key=f"{key}:entry"[-120:],
        kind=EntryKind.REWEIGHED,
        at=now,
        recorded_at=now,
        by=by,
        line=weighing.line,
        facts=off_ratio.facts_of(batch),
        words=f"{weighing.line.role} was {before:f} kg, really {to_kg:f} kg: {words}"[:400],
    )
    entry.save()
    if batch.status in OPEN:
        settle_status(batch)
    else:
        _lower_poured(batch)
        off_ratio.judge(entry)
    return amendment


def _checked(weighing: Weighing, to_kg: Decimal, reason: str) -> tuple[str, Decimal]:
    words, before = reason.strip()[:200], weighing.kg
    if len(words) < LEAST_REASON:
        raise Invalid.one(
            "reason",
            "too_short",
            f"The reason is {words or 'empty'}; write at least {LEAST_REASON} letters.",
        )
    if to_kg <= 0 or to_kg == before:
        raise Invalid.one(
            "to_kg",
            "not_another_mass",
            f"to_kg is {to_kg} kg; it must be above 0 kg and not the {before:f} kg that "
            "count now.",
            value=str(to_kg),
            unit="kg",
        )
    return words, before


def _book(amendment: WeighingAmendment, batch: Batch) -> None:
    """Give the ledger the difference: the movement before is reversed, the right one is booked."""
    weighing = amendment.weighing
    earlier = weighing.amendments.exclude(pk=amendment.pk).order_by("pk").last()
    last = f"weighing:{weighing.key}" if earlier is None else f"amended:{earlier.key}"
    stores.reverse(
        key_of_original=last,
        key=f"reversed:{amendment.key}",
        reason=amendment.reason,
        happened_at=amendment.at,
        by=amendment.by,
    )
    stores.issue(
        container_id=weighing.container_id,
        quantity=amendment.to_kg,
        key=f"amended:{amendment.key}",
        counterpart=f"batch:{batch.pk}",
        purpose=purpose(weighing.line),
        happened_at=amendment.at,
        by=amendment.by,
        reason=amendment.reason,
        already=True,
    )


def _lower_poured(batch: Batch) -> None:
    """Never more is poured than was weighed: lower what is recorded, in its own proportion."""
    portions: Sequence[BatchPortion] = list(batch.portions.filter(poured_kg__gt=0))
    poured = sum((portion.poured_kg or ZERO for portion in portions), ZERO)
    weighed = sum(weighed_kg(batch).values(), ZERO)
    if poured <= weighed:
        return
    for portion in portions:
        kg = (portion.poured_kg or ZERO) * weighed / poured
        portion.poured_kg = kg.quantize(Decimal("0.0001"), "ROUND_FLOOR")
        portion.save(update_fields=["poured_kg"])
