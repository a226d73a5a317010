"""When a container was first opened, and what was filled from it: once open, always open."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db.models import Q

from shop.ledger.models import Movement, MovementKind
from shop.lots.models import Container


def opened(container_ids: Iterable[int], at: datetime) -> None:
    """
    Note that containers were open at a moment; the earliest such moment stays.

    Whatever was filled from them has been in the air as long, so the earlier moment goes along
    into those containers, and on into what was filled from them.
    """
    earlier = Q(opened_at__isnull=True) | Q(opened_at__gt=at)
    changed = set(container_ids)
    while changed:
        moved = set(
            Container.objects.filter(earlier, pk__in=changed)
            .order_by("pk")
            .values_list("pk", flat=True)
        )
        Container.objects.filter(earlier, pk__in=moved).update(opened_at=at)
        changed = filled_from(moved)


def filled_from(container_ids: Iterable[int]) -> set[int]:
    """Return the containers that got something out of the named ones and still have it."""
    out = Movement.objects.filter(
        container__in=list(container_ids),
        kind=MovementKind.TRANSFER,
        quantity__lt=0,
        reversed_by=None,
    )
    sides = out.order_by().values_list("counterpart", flat=True).distinct()
    return {int(side.removeprefix("container:")) for side in sides}
