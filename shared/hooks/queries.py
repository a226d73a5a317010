"""Reads: what an endpoint still has to be given, and what it may be given now."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import Count, Exists, OuterRef, Q, QuerySet

from shared.hooks.models import Endpoint, HookAttempt, HookDelivery, HookState

OPEN = (HookState.WAITING, HookState.SENDING)


def next_of(endpoint: Endpoint, now: datetime) -> HookDelivery | None:
    """
    Return the first delivery that may go out now, or none.

    One waits while an earlier one of the same object is open, so that the events of an object
    arrive in order; one that was given up lets the later ones go on.
    """
    own = HookDelivery.objects.filter(endpoint=endpoint, state__in=OPEN)
    earlier = own.filter(
        position__lt=OuterRef("position"),
        event__object_kind=OuterRef("event__object_kind"),
        event__object_id=OuterRef("event__object_id"),
    )
    rows = own.filter(~Exists(earlier), try_at__lte=now).order_by("position")
    return rows.select_related("event").first()


def endpoints() -> QuerySet[Endpoint]:
    """Return endpoints with how many deliveries wait and how many were given up."""
    return Endpoint.objects.select_related("site").annotate(
        waiting=Count("deliveries", filter=Q(deliveries__state__in=OPEN)),
        given_up=Count("deliveries", filter=Q(deliveries__state=HookState.DEAD)),
    )


def log_of(endpoint: Endpoint, many: int) -> list[HookAttempt]:
    """Return the last attempts, the newest first."""
    rows: Any = endpoint.tries.select_related("delivery__event").order_by("-id")
    return list(rows[:many])
