"""Reads: events of one object, and the feed of all of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Max, QuerySet

from shared.events.models import Event, FeedPlace


@dataclass(frozen=True)
class FeedPage:
    """Some places of the feed, and behind which place to go on."""

    places: list[FeedPlace]
    after: int
    more: bool


def events_of(object_kind: str, object_id: Any) -> QuerySet[Event]:
    """Return an object's events, the newest first."""
    rows = Event.objects.filter(object_kind=object_kind, object_id=str(object_id))
    return rows.select_related("by").order_by("-sequence")


def end_of_feed() -> int:
    """Return the last place given, 0 while there is none."""
    return FeedPlace.objects.aggregate(last=Max("position"))["last"] or 0


def behind(*, after: int, site_ids: Iterable[int], limit: int, **only: Any) -> FeedPage:
    """
    Return what stands behind a place, for some sites, in the order of the feed.

    Where nothing more fits, `after` is the end of the feed as it was before it was read, so that
    what is passed over once need not be read again and nothing placed meanwhile is passed over.
    """
    end = end_of_feed()
    rows = FeedPlace.objects.filter(
        position__gt=after, position__lte=end, site__in=list(site_ids), **only
    )
    found = list(rows.select_related("event").order_by("position")[: limit + 1])
    more = len(found) > limit
    places = found[:limit]
    return FeedPage(places, places[-1].position if more else max(after, end), more)
