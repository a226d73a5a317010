"""How long a tool will last: shots, coats, inspections, and the chance for what is promised."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Sum

from shared import clock
from shared.access.models import Site
from shop.core.recoat import CoatsLeft, shots_left
from shop.core.tool_life import Life
from shop.core.weibull import Outlook, Weibull, best_known, outlook
from shop.tools.models import Tool, ToolEvent, ToolEventKind, ToolStatus

PACE_DAYS = 90
"""Days back over which the pace of a tool is measured; chosen here."""
REPLACEMENT_DAYS = 21
"""Days from ordering a replacement casting to its first shot; chosen here."""
NOT_WORN = "no"


@dataclass(frozen=True)
class ToolState:
    """Shots of a tool and what they mean for it."""

    tool: Tool
    shots: int
    coats: CoatsLeft | None
    inspection_left: int | None
    outlook: Outlook | None

    @property
    def wants(self) -> tuple[str, ...]:
        """Return in words what the tool wants now."""
        found = []
        if self.coats and self.coats.due:
            found.append("re-coat")
        if self.inspection_left is not None and self.inspection_left <= 0:
            found.append("inspection")
        return tuple(found)


def history(site: Site) -> dict[str, list[Life]]:
    """Return shots of all tools by kind; tools not worn out count as still going."""
    shots = dict(
        ToolEvent.objects.filter(tool__site=site)
        .order_by()
        .values_list("tool")
        .annotate(total=Sum("shots"))
    )
    ends = ToolEvent.objects.filter(tool__site=site, kind=ToolEventKind.RETIREMENT)
    worn = {event.tool_id for event in ends if event.facts.get("worn", "yes") != NOT_WORN}
    found: dict[str, list[Life]] = defaultdict(list)
    for tool in Tool.objects.filter(site=site).only("pk", "kind"):
        if shots.get(tool.pk):
            found[tool.kind].append(Life(shots[tool.pk], tool.pk in worn))
    return found


def states(tools: Iterable[Tool], site: Site, today: date) -> list[ToolState]:
    """Return the state of each tool; the same few queries for one tool or many."""
    rows = list(tools)
    kinds = [ToolEventKind.SHOTS, ToolEventKind.COAT, ToolEventKind.INSPECTION]
    events: dict[int, list[ToolEvent]] = defaultdict(list)
    asked = ToolEvent.objects.filter(tool__in=[row.pk for row in rows], kind__in=kinds)
    for event in asked.order_by("at", "id"):
        events[event.tool_id].append(event)
    lives = {kind: best_known(known) for kind, known in history(site).items()}
    return [_state(row, events[row.pk], lives.get(row.kind), site, today) for row in rows]


def _state(
    tool: Tool, events: list[ToolEvent], life: Weibull | None, site: Site, today: date
) -> ToolState:
    total = sum(event.shots for event in events)
    since = today - timedelta(days=PACE_DAYS)
    lately = sum(e.shots for e in events if clock.local(e.at, site).date() > since)
    pace = lately / PACE_DAYS
    ahead = None
    if tool.status != ToolStatus.RETIRED and (life is not None or tool.expected_shots):
        ahead = outlook(
            life,
            done=total,
            promised=tool.promised_shots,
            shots_per_day=pace,
            replacement_days=REPLACEMENT_DAYS,
            today=today,
            stated_life=tool.expected_shots,
        )
    coats, since_coat = None, _since(events, ToolEventKind.COAT)
    if tool.shots_per_coat:
        coats = shots_left(since_coat, tool.shots_per_coat, today=today, shots_per_day=pace)
    inspection = None
    if tool.shots_per_inspection:
        inspection = tool.shots_per_inspection - _since(events, ToolEventKind.INSPECTION)
    return ToolState(tool, total, coats, inspection, ahead)


def _since(events: list[ToolEvent], kind: ToolEventKind) -> int:
    shots = 0
    for event in events:
        shots = 0 if event.kind == kind else shots + event.shots
    return shots
