"""Writes to the register of tools: asked for, cast, in service, used, retired."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Max

from shared import clock
from shared.access.models import User
from shared.change import change, change_all
from shared.errors import Invalid
from shared.times import Event, in_order
from shop.errors import NotFound, Refused
from shop.stores_types import ToolInfo
from shop.tools.face import NO_COAT, Coat, agent_for, take_out
from shop.tools.inspecting import Finding, after_inspection, looked_at, store
from shop.tools.models import Tool, ToolEvent, ToolEventKind, ToolHalf, ToolKind, ToolStatus
from shop.tools.queries import tool_info
from shop.tools.repairing import Used, refuse_back, refuse_used, retired_for, take_used
from shop.tools.runs import NO_READINGS, OVER, Readings, refuse_over

ENTERED = [
    kind for kind in ToolEventKind.values
    if kind not in (ToolEventKind.CAST, ToolEventKind.CORRECTION, ToolEventKind.WITHDRAWAL)
]  # fmt: skip
"""Kinds that a person or a press enters; castings and corrections have ways of their own."""
FOLLOWS = (
    "kind", "customer", "service_c", "family", "expected_shots", "shots_per_coat",
    "shots_per_inspection", "days_per_inspection", "clamp_limit_kn", "surface", "face_m2",
    "release_recipe",
)  # fmt: skip
"""What a replacement takes over from the tool it follows; shots promised stay where they are."""
HALVES = {ToolKind.MATCHED: ("A", "B"), ToolKind.SINGLE: ("A",)}


class ToolNotReady(Refused):
    own_code = "tool_not_ready"


def make_tool(
    *,
    site_id: int,
    code: str,
    name: str,
    kind: str,
    customer: str = "",
    service_c: Decimal | None = None,
) -> ToolInfo:
    """Enter a tool that has been asked for."""
    if kind not in HALVES:
        words = f"kind is {kind!r}; it must be one of {', '.join(HALVES)}."
        raise Invalid.one("kind", "invalid_choice", words, value=kind)
    if Tool.objects.filter(site=site_id, code=code).exists():
        words = f"code is {code!r}; the site has a tool of that code already."
        raise Invalid.one("code", "unique", words, value=code)
    tool = Tool(
        site_id=site_id, code=code, name=name, kind=kind, customer=customer, service_c=service_c
    )
    tool.save()
    return tool_info(tool)


@transaction.atomic
def make_replacement(tool_id: int) -> ToolInfo:
    """Enter the tool that is to follow another, with its family, limits and customer."""
    old = _locked(tool_id)
    start = f"{old.code[:36]}-R"
    taken = set(
        Tool.objects.filter(site=old.site, code__startswith=start).values_list("code", flat=True)
    )
    code = next(
        code for code in (f"{start}{n or ''}" for n in range(len(taken) + 2)) if code not in taken
    )
    kept = {name: getattr(old, name) for name in FOLLOWS}
    made = Tool(site=old.site, code=code, name=old.name, replaces=old, **kept)
    made.save()
    return tool_info(made)


def tool_is_casting(tool_id: int) -> None:
    """Note that work on a tool has begun; later states stay as they are."""
    asked = Tool.objects.filter(pk=tool_id, status=ToolStatus.ASKED)
    change_all(asked, status=ToolStatus.CASTING)


@transaction.atomic
def open_tool_record(
    *,
    tool_id: int,
    half: str,
    casting: str,
    at: datetime,
    by: User | None = None,
    verdict: str,
    service_c: Decimal | None = None,
    facts: dict[str, Any],
) -> None:
    """
    Enter a half that has been demoulded; once for a casting, a repeat changes nothing.

    The tool is in service when every half of its kind has been accepted.
    """
    tool = _locked(tool_id)
    key = f"cast:{casting}"
    if ToolEvent.objects.filter(key=key).exists():
        return
    if half not in HALVES[ToolKind(tool.kind)]:
        words = f"half is {half!r}; a {tool.get_kind_display().lower()} has no such half."
        raise Invalid.one("half", "invalid_choice", words, value=half)
    if verdict not in ("accept", "rework", "reject"):
        words = f"verdict is {verdict!r}; it must be accept, rework or reject."
        raise Invalid.one("verdict", "invalid_choice", words, value=verdict)
    ToolHalf.objects.update_or_create(
        tool=tool,
        half=half,
        defaults={
            "casting": casting,
            "demoulded_at": at,
            "service_c": service_c,
            "verdict": verdict,
        },
    )
    ToolEvent.objects.create(
        tool=tool,
        kind=ToolEventKind.CAST,
        key=key,
        at=at,
        by=by,
        words=f"Half {half} from {casting}: {verdict}.",
        facts={"half": half, "casting": casting, "verdict": verdict, **facts},
    )
    _settle_status(tool)


def _settle_status(tool: Tool) -> None:
    accepted = set(tool.halves.filter(verdict="accept").values_list("half", flat=True))
    whole = accepted >= set(HALVES[ToolKind(tool.kind)])
    if tool.status in (ToolStatus.ASKED, ToolStatus.CASTING):
        tool.status = ToolStatus.IN_SERVICE if whole else ToolStatus.CASTING
    tool.version += 1
    tool.save(update_fields=["status", "version"])


@transaction.atomic
def add_event(
    *,
    tool_id: int,
    kind: str,
    key: str,
    at: datetime,
    by: User | None = None,
    shots: int = 0,
    readings: Readings = NO_READINGS,
    coat: Coat = NO_COAT,
    findings: Sequence[Finding] = (),
    used: Sequence[Used] = (),
    reason: str = "",
    confirmed: bool = False,
    words: str = "",
    facts: dict[str, Any] | None = None,
) -> ToolEvent:
    """
    Add what happened to a tool; a repeat of the key returns the first.

    A run above the tool's limits must be `confirmed`, and so must a tool that passes an inspection
    with a finding that is not good, or with checkpoints left out. Release agent and sealer are
    looked at beside the tool's recipe and what is on its face. They, and what a repair `used`, go
    out of their cans by the ledger.
    """
    tool = _locked(tool_id)
    earlier = ToolEvent.objects.filter(key=key).first()
    if earlier is not None:
        if (earlier.tool_id, earlier.kind, earlier.shots) != (tool.pk, kind, shots):
            raise Refused(f"The key {key} was used for another event; use a new key.", key=key)
        return earlier
    _refuse_event(tool, kind, shots, readings)
    facts = {name: value for name, value in (facts or {}).items() if name != OVER}
    refuse_used(tool, kind, used)
    refuse_back(tool, kind, by)
    worn = retired_for(tool, kind, reason, words)
    if worn is not None:
        facts.setdefault("worn", "yes" if worn else "no")
    verdict = str(facts.get("verdict", ""))
    found = looked_at(tool, kind, findings, verdict, confirmed=confirmed)
    at = in_order(at, after=_before_it(tool, kind))
    if over := refuse_over(tool, readings, confirmed=confirmed):
        facts[OVER] = over
    agent = agent_for(tool, kind, coat, at)
    event = ToolEvent.objects.create(
        tool=tool, kind=kind, key=key, at=at, recorded_at=clock.now(), by=by, shots=shots,
        words=words, reason=reason, facts=facts, agent=agent, coats=coat.coats,
        container=coat.container, **asdict(readings),
    )  # fmt: skip
    store(event, found)
    take_out(tool, event, coat, by)
    take_used(tool, event, used, by)
    after = {
        ToolEventKind.RETIREMENT: ToolStatus.RETIRED,
        ToolEventKind.REPAIR: ToolStatus.REPAIR,
        ToolEventKind.BACK: ToolStatus.IN_SERVICE,
        ToolEventKind.INSPECTION: after_inspection(tool, verdict),
    }.get(ToolEventKind(kind))
    if after and after != tool.status:
        change(tool, status=after)
    return event


def _before_it(tool: Tool, kind: str) -> list[Event]:
    """Return what an event follows: shots and what ends a tool follow its last demoulding."""
    if kind == ToolEventKind.NOTE:
        return []
    last = tool.halves.aggregate(at=Max("demoulded_at"))["at"]
    return [(f"{tool.code} was demoulded", last)]


def _refuse_event(tool: Tool, kind: str, shots: int, readings: Readings) -> None:
    if kind not in ENTERED:
        allowed = ", ".join(ENTERED)
        words = f"kind is {kind!r}; it must be one of {allowed}."
        raise Invalid.one("kind", "invalid_choice", words, value=kind)
    if (kind == ToolEventKind.SHOTS) != (shots > 0):
        words = f"shots is {shots}; give 1 or more for shots run, and 0 for anything else."
        raise Invalid.one("shots", "invalid", words, value=shots, limit=1)
    if kind != ToolEventKind.SHOTS and readings != NO_READINGS:
        words = "temperature_c, cycle_s and clamp_kn belong to shots run; leave them out."
        raise Invalid.one("temperature_c", "not_a_run", words)
    if tool.status == ToolStatus.RETIRED and kind != ToolEventKind.NOTE:
        raise ToolNotReady(
            f"Tool {tool.code} is retired; only notes can be added.", tool=tool.code
        )
    if kind == ToolEventKind.SHOTS and tool.status != ToolStatus.IN_SERVICE:
        raise ToolNotReady(
            f"Tool {tool.code} is {tool.get_status_display().lower()}; shots can be recorded only "
            "for a tool in service.",
            tool=tool.code,
        )


def _locked(tool_id: int) -> Tool:
    tool = Tool.objects.select_for_update(no_key=True).filter(pk=tool_id).first()
    if tool is None:
        raise NotFound(f"There is no tool {tool_id}.", tool=tool_id)
    return tool
