"""Setting stock aside for planned work, and freeing it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal

from django.db.models import F, Q

from shared import clock
from shared.retry import retried
from shop.ledger.actions import refuse_unusable
from shop.ledger.models import Reservation
from shop.ledger.posting import exact, in_steps, locked, too_little
from shop.lots.models import Container


@retried
def reserve(*, container_id: int, quantity: Decimal, purpose: str, needed_at: datetime) -> None:
    """
    Set aside part of a container for one use; a repeat replaces the earlier quantity.

    Refused for a lot that will not be usable on the day of need, and beyond what is free.
    """
    exact(quantity)
    container = locked([container_id])[container_id]
    refuse_unusable(container, needed_at)
    earlier = Reservation.objects.filter(container=container, purpose=purpose).first()
    more = quantity - (earlier.quantity if earlier else 0)
    together = in_steps(F("reserved") + more)
    room = Container.objects.filter(pk=container.pk, balance__gte=together)
    if room.update(reserved=together) != 1:
        raise too_little(container, quantity, earlier.quantity if earlier else Decimal(0))
    Reservation.objects.update_or_create(
        container=container,
        purpose=purpose,
        defaults={"quantity": quantity, "needed_at": needed_at},
        create_defaults={
            "quantity": quantity,
            "needed_at": needed_at,
            "created_at": clock.now(),
        },
    )


@retried
def free_reservations(*, purposes: Iterable[str] = (), prefix: str | None = None) -> int:
    """Free what is set aside for the named uses and for all that begin with `prefix`."""
    wanted = Q(purpose__in=list(purposes))
    if prefix:
        wanted |= Q(purpose__startswith=prefix)
    ids = set(Reservation.objects.filter(wanted).values_list("container_id", flat=True))
    locked(ids)
    freed = 0
    # Read again under the locks: what was used up in between is no longer there to be freed.
    for row in Reservation.objects.filter(wanted, container__in=ids):
        Container.objects.filter(pk=row.container_id).update(
            reserved=in_steps(F("reserved") - row.quantity)
        )
        row.delete()
        freed += 1
    return freed
