"""Cans whose filler settles: which are stirred, and until when that counts."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from planning.batches.models import BatchEntry, EntryKind
from shop.stores_types import ContainerInfo, MaterialInfo

STIR_AGAIN_H = 12
"""
A can is stirred again so long after it was, h, where its material says nothing else.

Long enough for a shift and short enough for the start of each day. Common practice, no source.
"""


def stir_again(material: MaterialInfo) -> timedelta | None:
    """Return how long stirring counts; None for a material that does not settle."""
    if not material.stir_before_use:
        return None
    return timedelta(hours=material.stir_hours or STIR_AGAIN_H)


def stirred_at(container_ids: Iterable[int], until: datetime) -> dict[int, datetime]:
    """Return when each can was last signed as stirred, up to a moment; one query."""
    rows = BatchEntry.objects.filter(
        kind=EntryKind.STIRRED, container__in=set(container_ids), at__lte=until
    )
    return dict(rows.order_by("at").values_list("container", "at"))


def still_counts(material: MaterialInfo, last: datetime | None, at: datetime) -> bool:
    """Whether a can that was last stirred at a time needs no stirring at a moment."""
    again = stir_again(material)
    return again is None or (last is not None and at - last <= again)


def wants_stir(can: ContainerInfo, material: MaterialInfo, at: datetime) -> bool:
    """Whether a can must be stirred before something is weighed from it."""
    return not still_counts(material, stirred_at([can.id], at).get(can.id), at)
