"""Which tools in service need something done to them now: coats, inspection, replacement."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator
from datetime import datetime

from shared import clock
from shared.access.models import Site
from shop.stores_types import ToolNeed
from shop.tools.life import ToolState, wanting_replacement
from shop.tools.models import Tool, ToolStatus
from shop.tools.replacing import TOLD_AHEAD
from shop.tools.upkeep import upkeep


def tools_due(*, tool_ids: Collection[int] | None = None) -> Iterator[ToolNeed]:
    """Yield each tool in service that needs work now, and since when."""
    tools = Tool.objects.filter(status=ToolStatus.IN_SERVICE)
    if tool_ids is not None:
        tools = tools.filter(pk__in=tool_ids)
    needs: dict[Tool, list[tuple[str, str, datetime]]] = defaultdict(list)
    for site in Site.objects.filter(pk__in=tools.values("site")):
        today = clock.today(site)
        for work in upkeep(tools, site.pk, today):
            if work.since is not None:
                needs[work.tool].append((work.work, work.words, work.since))
        for state in wanting_replacement(site, today, tool_ids):
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
