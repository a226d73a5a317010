"""
Giving events their place in the feed, after they are committed.

A database numbers rows when they are inserted, not when they are committed, so a reader who goes
on behind the highest number seen would never see the row of a slower transaction. Here one writer
at a time, holding the row of `FeedEnd` until it commits, gives the next places to what it finds
committed. Whoever sees a place therefore sees all before it.
"""

from __future__ import annotations

from shared import clock
from shared.events.models import Event, FeedEnd, FeedPlace, UnplacedEvent
from shared.retry import retried

MOST_AT_ONCE = 1000


def place_waiting() -> int:
    """Give places to all committed events that have none; return how many."""
    count = 0
    while UnplacedEvent.objects.exists():
        placed = _place()
        count += placed
        if placed < MOST_AT_ONCE:
            break
    return count


@retried
def _place() -> int:
    FeedEnd.objects.get_or_create(pk=1)
    end = FeedEnd.objects.select_for_update().get(pk=1)
    # Read under the lock: by an older view of the tables an event could be placed twice.
    found = list(
        Event.objects.filter(pk__in=UnplacedEvent.objects.values("pk"))
        .order_by("pk")
        .values_list("pk", "site")[:MOST_AT_ONCE]
    )
    now = clock.now()
    FeedPlace.objects.bulk_create(
        FeedPlace(position=end.position + n, event_id=pk, site_id=site, placed_at=now)
        for n, (pk, site) in enumerate(found, start=1)
    )
    UnplacedEvent.objects.filter(pk__in=[pk for pk, _ in found]).delete()
    end.position += len(found)
    end.save(update_fields=["position"])
    return len(found)
