"""Reads: patterns of a site, those that wait, and the castings a report holds."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.db.models import Q, QuerySet

from planning.patterns.models import PatternMesh, PatternState
from planning.pours.models import Pour, PourStatus

LOST_AFTER = timedelta(seconds=20)
DEAD_AFTER = timedelta(minutes=5)


def patterns(site_id: int) -> QuerySet[PatternMesh]:
    """Return a site's patterns, the newest first, without their long reports."""
    return PatternMesh.objects.filter(site_id=site_id).defer("report")


def waiting(now: datetime) -> list[int]:
    """Return patterns whose message to the worker seems lost, or whose worker seems dead."""
    rows = PatternMesh.objects.filter(
        Q(state=PatternState.WAITING, asked_at__lt=now - LOST_AFTER)
        | Q(state=PatternState.READING, started_at__lt=now - DEAD_AFTER)
    )
    return list(rows.order_by("asked_at").values_list("pk", flat=True)[:20])


def half_of_report(pattern: PatternMesh, half: str) -> dict[str, Any] | None:
    """Return what was found out about one half, if the pattern has been examined and has it."""
    halves = (pattern.report or {}).get("halves", [])
    return next((found for found in halves if found["name"] == half), None)


def pours_to_fill(site_id: int) -> QuerySet[Pour]:
    """Return pours whose sizes may still be changed."""
    return (
        Pour.objects.filter(order__site_id=site_id, status=PourStatus.ASKED)
        .select_related("order")
        .order_by("due_on", "order__number", "half")
    )
