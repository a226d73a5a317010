"""When a container's contents came in: nothing happens to them before."""

from __future__ import annotations

from datetime import datetime

from shared.times import in_order
from shop.ledger.models import Movement, MovementKind
from shop.lots.models import Container


def received_at(container_id: int) -> datetime | None:
    """Return when the first of a container's contents came in; None while nothing has."""
    rows = Movement.objects.filter(container=container_id).order_by("happened_at", "id")
    return rows.values_list("happened_at", flat=True).first()


def after_receipt(
    container: Container, at: datetime, *, kind: str = "", field: str = "happened_at"
) -> datetime:
    """Return a time of something done to a container; before its contents came in is refused."""
    if kind == MovementKind.RECEIPT:
        return at
    came = received_at(container.pk)
    return in_order(at, field=field, after=[(f"{container.code} came in", came)])
