"""
Addresses that are to go: one declaration on a view tells callers in every answer.

    class OldView(viewsets.ScopedView):
        leaving = Leaving(since=date(2027, 1, 4), gone=date(2028, 1, 31), instead="/api/v1/new")

Answers then carry `Deprecation` (RFC 9745: a structured date), `Sunset` (RFC 8594: an HTTP date)
and links to the page of changes and to what takes its place; the description marks it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.urls import reverse
from django.utils.http import http_date

LEAST = timedelta(days=365)
"""How long something that is to go must still be there."""


@dataclass(frozen=True)
class Leaving:
    """Since when an address should not be used any more, and from when on it is gone."""

    since: date
    gone: date
    instead: str = ""

    def __post_init__(self) -> None:
        if self.gone - self.since < LEAST:
            raise ValueError(f"gone is {self.gone}; it must be a year or more after {self.since}.")

    def headers(self, request: Any) -> dict[str, str]:
        """Return the header fields of every answer."""
        links = [f'<{request.build_absolute_uri(reverse("api-changes"))}>; rel="deprecation"']
        if self.instead:
            links.append(f'<{request.build_absolute_uri(self.instead)}>; rel="successor-version"')
        return {
            "Deprecation": f"@{_second(self.since)}",
            "Sunset": http_date(_second(self.gone)),
            "Link": ", ".join(links),
        }


def _second(day: date) -> int:
    """Return the first second of a day, UTC."""
    return int(datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp())
