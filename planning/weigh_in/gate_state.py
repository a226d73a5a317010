"""What a pot gives and what stands in its way, as page and API show it before anybody acts."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from planning.batches.models import Batch, BatchStatus, EntryKind
from planning.clocks.deadline import deadline_of
from planning.weigh_in.contents import offer_of_pot
from planning.weigh_in.gate import hindrances_of, plain

BEFORE_CONTACT = (BatchStatus.PLANNED, BatchStatus.WEIGHING, BatchStatus.WEIGHED)


def gate_of(batch: Batch, now: datetime) -> dict[str, Any]:
    """Return hindrances of first contact and of each open portion, what it gets, and by when."""
    found, portions = offer_of_pot(batch)
    deadline = deadline_of(batch)
    waits = batch.status in BEFORE_CONTACT
    contact = hindrances_of(batch, EntryKind.CONTACT, portions, now) if waits else ()
    return {
        "contact": [plain(one) for one in contact],
        "portions": [
            {
                "portion": str(portion.pk),
                "offered_kg": kg,
                "hindrances": [
                    plain(one) for one in hindrances_of(batch, EntryKind.POURED, [portion], now)
                ]
                if batch.status == BatchStatus.MIXING
                else [],
            }
            for portion, kg in zip(portions, found.kg, strict=True)
        ],
        "pourable_kg": found.pourable_kg,
        "missing_kg": found.missing_kg,
        "over_kg": found.over_kg,
        "pour_by": deadline.pour_by,
        "pot_life_min": deadline.pot_life_min,
        "pot_life_basis": deadline.basis,
    }
