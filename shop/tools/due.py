"""Which tools have run the shots after which they are coated or inspected again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator
from datetime import UTC, datetime

from django.db.models import Exists, F, OuterRef, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from shared import clock
from shared.access.models import Site
from shop.stores_types import ToolNeed
from shop.tools.life import ToolState, wanting_replacement
from shop.tools.models import RUN_KINDS, Tool, ToolEvent, ToolEventKind, ToolStatus
from shop.tools.replacing import TOLD_AHEAD
from shop.tools.runs import OVER, runs

WORK = {
    "a re-coat": ("shots_per_coat", ToolEventKind.COAT),
    "an inspection": ("shots_per_inspection", ToolEventKind.INSPECTION),
}


def tools_due(*, tool_ids: Collection[int] | None = None) -> Iterator[ToolNeed]:
    """Yield each tool in service that needs work now, and since when."""
    tools = Tool.objects.filter(status=ToolStatus.IN_SERVICE)
    if tool_ids is not None:
        tools = tools.filter(pk__in=tool_ids)
    needs: dict[Tool, list[tuple[str, str, datetime]]] = defaultdict(list)
    for work, (field, kind) in WORK.items():
        for tool in _over_limit(tools, field, kind):
            limit: int = getattr(tool, field)
            shots, since = _reached(tool, kind, limit)
            words = f"{shots} shots since the last; {work} is due after {limit}."
            needs[tool].append((work, words, since))
    for run in overloaded(tools):
        needs[run.tool].append(
            ("an inspection", f"A run was too much: {run.facts[OVER]}.", run.at)
        )
    for site in Site.objects.filter(pk__in=tools.values("site")):
        for state in wanting_replacement(site, clock.today(site), tool_ids):
            needs[state.tool].append(_replacement(state, site))
    for tool in sorted(needs, key=lambda tool: tool.pk):
        rows = needs[tool]
        yield ToolNeed(
            tool_id=tool.pk,
            site_id=tool.site_id,
            name=tool.name,
            work=" and ".join(dict.fromkeys(work for work, _, _ in rows)),
            since=min(since for _, _, since in rows),
            words=" ".join(words for _, words, _ in rows),
        )


def _replacement(state: ToolState, site: Site) -> tuple[str, str, datetime]:
    assert state.ahead is not None
    assert state.ahead.cast_by is not None
    words = (
        f"It does {int(state.ahead.left.kept)} more shots with a chance of 90 %, to "
        f"{state.ahead.last_day}; a replacement takes {state.ahead.lead.words}. "
        f"Order it by {state.ahead.cast_by}."
    )
    return "a replacement", words, clock.day_start(state.ahead.cast_by - TOLD_AHEAD, site)


def overloaded(tools: QuerySet[Tool]) -> QuerySet[ToolEvent]:
    """Return runs above their tool's limits that no inspection has followed yet."""
    looked_at = ToolEvent.objects.filter(
        tool=OuterRef("tool"), kind=ToolEventKind.INSPECTION, at__gte=OuterRef("at")
    )
    found = ToolEvent.objects.filter(
        ~Exists(looked_at), tool__in=tools, kind=ToolEventKind.SHOTS, facts__has_key=OVER
    )
    return found.select_related("tool").order_by("at", "id")


def _last_work(kind: ToolEventKind, tool: OuterRef | Tool) -> QuerySet[ToolEvent]:
    return ToolEvent.objects.filter(kind=kind, tool=tool).order_by("-at", "-id")


def _over_limit(tools: QuerySet[Tool], field: str, kind: ToolEventKind) -> QuerySet[Tool]:
    """Return the tools whose shots since the last such work reach their limit."""
    shots = ToolEvent.objects.filter(tool=OuterRef("pk"), kind__in=RUN_KINDS)
    never = datetime.min.replace(tzinfo=UTC, year=1900)
    since = shots.filter(at__gt=Coalesce(OuterRef("last_at"), never))
    total = since.order_by().values("tool").annotate(total=Sum("shots")).values("total")
    return (
        tools.filter(**{f"{field}__isnull": False})
        .annotate(last_at=Subquery(_last_work(kind, OuterRef("pk")).values("at")[:1]))
        .annotate(run=Subquery(total))
        .filter(run__gte=F(field))
    )


def _reached(tool: Tool, kind: ToolEventKind, limit: int) -> tuple[int, datetime]:
    """Return the shots since the last such work and the moment they reached the limit."""
    last = _last_work(kind, tool).first()
    events = ToolEvent.objects.filter(tool=tool, kind__in=RUN_KINDS)
    if last is not None:
        events = events.filter(at__gt=last.at)
    shots, reached = 0, last.at if last else None
    for run in runs(events):
        before, shots = shots, shots + run.shots
        if before < limit <= shots:
            reached = run.at
    assert reached is not None  # the shots together reach the limit
    return shots, reached
