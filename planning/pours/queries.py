"""Reads: what of an order left the shop."""

from __future__ import annotations

from typing import Any

from planning.pours.models import PourStatus, ToolOrder


def shipped(order: ToolOrder) -> str:
    """Return how much of an order is with the customer: none, part or all."""
    gone = (PourStatus.CANCELLED, PourStatus.FAILED)
    sent = [pour.sent for pour in order.pours.all() if pour.status not in gone]
    return "none" if not any(sent) else "all" if all(sent) else "part"


def delivery_notes(order: ToolOrder) -> list[dict[str, Any]]:
    """Return the delivery notes of an order, each with the halves that are on it."""
    found: dict[int, dict[str, Any]] = {}
    for pour in order.pours.all():
        if pour.status != PourStatus.DEMOULDED:
            continue  # it never left, and nothing is asked of the database
        for line in pour.delivery_lines.all():
            note = line.note
            row = found.setdefault(
                note.pk,
                {
                    "id": note.pk,
                    "number": note.number,
                    "kind": note.kind,
                    "at": note.at,
                    "halves": [],
                    "carrier": note.carrier,
                    "carrier_reference": note.carrier_reference,
                },
            )
            row["halves"].append(pour.half)
    return [found[pk] for pk in sorted(found)]
