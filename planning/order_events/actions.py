"""Writes: add an event of an order, in the transaction of the change it tells of."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from shared.events import actions as events
from shared.events.actions import plain
from shared.events.kinds import EventKind, ObjectKind
from shared.events.models import Event


def add_event(
    *,
    order: Any,
    kind: EventKind,
    at: datetime,
    pour: Any = None,
    facts: Mapping[str, Any] | None = None,
    old: Mapping[str, Any] | None = None,
    new: Mapping[str, Any] | None = None,
    reason: str = "",
    by: Any = None,
) -> Event:
    """Add the next event of an order; `shared.events.actions.add` says where it may be called."""
    names: dict[str, Any] = {
        "order": str(order.pk),
        "number": order.number,
        "customer_reference": order.customer_reference,
    }
    if pour is not None:
        names |= {"pour": str(pour.pk), "half": pour.half}
    return events.add(
        site=order.site,
        object_kind=ObjectKind.ORDER,
        object_id=order.pk,
        kind=kind,
        at=at,
        facts={**names, **(facts or {})},
        old=old,
        new=new,
        reference=order.customer_reference,
        reason=reason,
        by=by,
    )


def add_changes(
    *,
    order: Any,
    before: Mapping[str, Any],
    after: Mapping[str, Any],
    at: datetime,
    pour: Any = None,
    reason: str = "",
    by: Any = None,
) -> Event | None:
    """Add an event of what differs between two states; none where nothing does."""
    changed = [name for name in after if plain(before.get(name)) != plain(after[name])]
    if not changed:
        return None
    return add_event(
        order=order,
        kind=EventKind.CHANGED,
        at=at,
        pour=pour,
        old={name: before.get(name) for name in changed},
        new={name: after[name] for name in changed},
        reason=reason,
        by=by,
    )
