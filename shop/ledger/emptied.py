"""A can that somebody has looked into and found empty, whatever its stock record says."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from shared.access.models import User
from shop.ledger.actions import adjust, reverse
from shop.ledger.models import Movement, MovementKind
from shop.ledger.posting import locked

MARK = "empty:"
ZERO = Decimal(0)


@dataclass(frozen=True)
class FoundEmpty:
    """A stock record that was put to nothing: by how much, and when the can was seen empty."""

    key: str
    quantity: Decimal
    at: datetime


def count_empty(
    *,
    container_id: int,
    key: str,
    happened_at: datetime,
    by: User | None = None,
    reason: str = "",
) -> Decimal:
    """Put a can's stock record to nothing; return what it still held, in the material's unit."""
    held: Decimal = locked([container_id])[container_id].balance
    adjust(
        container_id=container_id,
        counted=ZERO,
        expected=held,
        key=f"{MARK}{key[-100:]}",
        happened_at=happened_at,
        by=by,
        reason=reason,
    )
    return held


def not_empty_after_all(
    *, container_id: int, quantity: Decimal, now: datetime, by: User | None = None
) -> FoundEmpty | None:
    """
    Give a can back what was written off where more comes out of it than its record holds.

    Returns
    -------
    FoundEmpty or None
        What was taken back; None where the record holds enough, or was never put to nothing.
    """
    container = locked([container_id])[container_id]
    if quantity <= container.balance:
        return None
    rows = Movement.objects.filter(
        container=container_id,
        kind=MovementKind.COUNT,
        key__startswith=MARK,
        reversed_by__isnull=True,
    )
    row = rows.order_by("pk").last()
    if row is None:
        return None
    reverse(
        key_of_original=row.key,
        key=f"not-{row.key}",
        reason="something was weighed from it",
        happened_at=max(now, row.happened_at),
        by=by,
    )
    return FoundEmpty(row.key, -row.quantity, row.happened_at)
