"""Which tools have run the shots after which they are coated or inspected again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime

from django.db.models import Q

from shop.stores_types import ToolNeed
from shop.tools.models import Tool, ToolEvent, ToolEventKind, ToolStatus

WORK = {
    "a re-coat": ("shots_per_coat", ToolEventKind.COAT),
    "an inspection": ("shots_per_inspection", ToolEventKind.INSPECTION),
}


def tools_due(*, tool_id: int | None = None) -> Iterator[ToolNeed]:
    """Yield each tool in service that needs work now, and since when."""
    counted = Q(shots_per_coat__isnull=False) | Q(shots_per_inspection__isnull=False)
    tools = Tool.objects.filter(counted, status=ToolStatus.IN_SERVICE)
    if tool_id is not None:
        tools = tools.filter(pk=tool_id)
    events: dict[int, list[ToolEvent]] = defaultdict(list)
    kinds = [ToolEventKind.SHOTS, ToolEventKind.COAT, ToolEventKind.INSPECTION]
    for event in ToolEvent.objects.filter(tool__in=tools, kind__in=kinds).order_by("at", "id"):
        events[event.tool_id].append(event)
    for tool in tools.order_by("pk"):
        needs = [
            (work, limit, *run)
            for work, (field, kind) in WORK.items()
            if (limit := getattr(tool, field)) and (run := _run_over(events[tool.pk], kind, limit))
        ]
        if needs:
            yield ToolNeed(
                tool_id=tool.pk,
                site_id=tool.site_id,
                name=tool.name,
                work=" and ".join(work for work, *_ in needs),
                since=min(since for *_, since in needs),
                words=" ".join(
                    f"{shots} shots since the last; {work} is due after {limit}."
                    for work, limit, shots, _ in needs
                ),
            )


def _run_over(
    events: list[ToolEvent], kind: ToolEventKind, limit: int
) -> tuple[int, datetime] | None:
    """Return the shots since the last such work and when they reached the limit."""
    shots, since = 0, None
    for event in events:
        if event.kind == kind:
            shots, since = 0, None
        shots += event.shots
        if shots >= limit and since is None:
            since = event.at
    return None if since is None else (shots, since)
