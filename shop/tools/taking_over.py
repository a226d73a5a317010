"""Tools in use before their record began: in service at once, with their shots so far."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db import transaction

from shared import clock
from shared.access.models import User
from shared.change import change
from shared.errors import Invalid
from shop.registers import enter
from shop.tools.actions import HALVES
from shop.tools.models import Tool, ToolEvent, ToolEventKind, ToolHalf, ToolKind, ToolStatus

WORDS = "Made before this record began."


@transaction.atomic
def enter_tool(
    *,
    in_service_since: date | None = None,
    shots_so_far: int | None = None,
    by: User | None = None,
    **values: Any,
) -> Tool:
    """
    Enter a tool: one to be cast, or with `in_service_since` one that is in use already.

    Parameters
    ----------
    in_service_since : date, optional
        Day from which it has been in use; its halves count as accepted on that day.
    shots_so_far : int, optional
        Parts made on it before now; they stand at the beginning of its record.

    Raises
    ------
    Invalid
        The day lies ahead, or shots are given of a tool that is not in use.
    """
    if shots_so_far and in_service_since is None:
        words = f"shots_so_far is {shots_so_far}; say from which day it was in use as well."
        raise Invalid.one("in_service_since", "required", words)
    tool = enter(Tool, **values)
    if in_service_since is None:
        return tool
    today = clock.today(tool.site)
    if in_service_since > today:
        words = f"in_service_since is {in_service_since}; it must not be after today, {today}."
        raise Invalid.one(
            "in_service_since", "in_future", words, value=in_service_since, limit=today
        )
    at = clock.day_start(in_service_since, tool.site)
    for half in HALVES[ToolKind(tool.kind)]:
        ToolHalf.objects.create(tool=tool, half=half, demoulded_at=at, verdict="accept")
    if shots_so_far:
        ToolEvent.objects.create(
            tool=tool, kind=ToolEventKind.SHOTS, key=f"before:{tool.pk}", at=at,
            recorded_at=clock.now(), by=by, shots=shots_so_far, words=WORDS,
        )  # fmt: skip
    return change(tool, status=ToolStatus.IN_SERVICE)
