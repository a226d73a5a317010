"""What soon may no longer be used: containers whose expiry or open life ends."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from datetime import datetime, timedelta

from django.db.models import Q

from shop.lots.models import LotStatus
from shop.lots.queries import container_info, with_lots
from shop.stores_types import ContainerInfo


def soon_unusable(
    until: datetime, *, container_ids: Collection[int] | None = None
) -> Iterator[tuple[int, ContainerInfo]]:
    """Yield site and container for what is left in released lots and unusable after `until`."""
    # A day's margin: both clocks run to the end of a day at the site, which the row cannot say.
    expiring = Q(lot__expires_on__lte=(until + timedelta(days=1)).date())
    rows = with_lots().filter(
        expiring | Q(opened_at__isnull=False), lot__status=LotStatus.RELEASED, balance__gt=0
    )
    if container_ids is not None:
        rows = rows.filter(pk__in=container_ids)
    for row in rows.order_by("pk"):
        info = container_info(row)
        if info.usable_until is not None and info.usable_until <= until:
            yield row.lot.site_id, info
