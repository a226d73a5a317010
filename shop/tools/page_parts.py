"""What the pages of tools share: the time that was typed, and the events as they are shown."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from shared import clock
from shared.access.models import Site
from shared.times import happened
from shop import page_forms as forms
from shop.tools.models import Tool, ToolEvent

SHOWN = 100


def happened_at(post: Any, site: Site) -> datetime:
    """Return when it happened, now unless a time was typed."""
    given = forms.moment(post, "at", clock.zone(site.time_zone))
    return happened(given, now=clock.now(), site=site)


def shown_events(tool: Tool) -> list[ToolEvent]:
    """Return the latest events of a tool, with all that a row of the page names."""
    rows = tool.events.select_related("by", "agent", "container__lot").prefetch_related(
        "findings__checkpoint", "used__container__lot__material", "corrections"
    )
    return list(rows[:SHOWN])
