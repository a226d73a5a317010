"""Shots of a tool: runs as a press did them, what is too hot or too hard, and corrections."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal

from django.db import transaction
from django.db.models import Sum

from shared import clock
from shared.access.models import User
from shared.errors import Invalid
from shop.errors import NotFound, Refused
from shop.tools.models import Tool, ToolEvent, ToolEventKind

MOST_SHOTS = 1_000_000
OVER = "over_limit"
"""The fact of a run that says what of it was above the tool's limits."""


@dataclass(frozen=True)
class Readings:
    """What the press said of a run; each may be unknown."""

    temperature_c: Decimal | None = None
    cycle_s: Decimal | None = None
    clamp_kn: Decimal | None = None


NO_READINGS = Readings()


class OverLimit(Refused):
    """A run that was hotter or clamped harder than the tool bears; asked for before it counts."""

    own_code = "over_limit"


def service_limit_c(tool: Tool) -> Decimal | None:
    """Return the hottest the tool may run: the least of what was wanted and halves reached."""
    reached = [half.service_c for half in tool.halves.all() if half.verdict == "accept"]
    known = [limit for limit in (tool.service_c, *reached) if limit is not None]
    return min(known) if known else None


def over_limits(tool: Tool, readings: Readings) -> list[str]:
    """Say what of a run is above what the tool bears; empty where nothing is, or is known."""
    found = []
    hottest = service_limit_c(tool)
    if None not in (readings.temperature_c, hottest) and readings.temperature_c > hottest:  # type: ignore[operator]
        found.append(
            f"temperature_c is {readings.temperature_c} °C; the service temperature of "
            f"{tool.code} is {hottest} °C"
        )
    limit = tool.clamp_limit_kn
    if None not in (readings.clamp_kn, limit) and readings.clamp_kn > limit:  # type: ignore[operator]
        found.append(f"clamp_kn is {readings.clamp_kn} kN; {tool.code} bears {limit} kN at most")
    return found


def refuse_over(tool: Tool, readings: Readings, *, confirmed: bool) -> str:
    """
    Return what is above the tool's limits, for the record; refuse it unless somebody confirms it.

    A run that has been is written down whatever it was, once the figure has been looked at.

    Raises
    ------
    OverLimit
        409, with what is above which limit.
    """
    over = "; ".join(over_limits(tool, readings))
    if over and not confirmed:
        raise OverLimit(
            f"{over}. Stop the run if it still goes on. If the figure is right, confirm it: the "
            "tool is then due for an inspection.",
            tool=tool.code,
        )
    return over


@dataclass(frozen=True)
class Run:
    """Shots of one run as they stand after its corrections."""

    event_id: int
    at: datetime
    shots: int


def runs(events: Iterable[ToolEvent]) -> list[Run]:
    """Return the runs among some events of a tool with their corrected shots, in order of time."""
    found: dict[int, Run] = {}
    for event in sorted(events, key=lambda event: (event.at, event.pk)):
        if event.kind == ToolEventKind.SHOTS:
            found[event.pk] = Run(event.pk, event.at, event.shots)
        elif event.kind == ToolEventKind.CORRECTION and event.corrects_id in found:
            run = found[event.corrects_id]
            found[event.corrects_id] = replace(run, shots=run.shots + event.shots)
    return list(found.values())


@transaction.atomic
def correct_shots(
    *, event_id: int, shots: int, words: str, key: str, by: User | None = None
) -> ToolEvent:
    """
    Put a mistyped run right by a further entry; a repeat of the key returns the first.

    Parameters
    ----------
    event_id : int
        The run.
    shots : int
        Shots that it really was, 0 where there was no such run.
    words : str
        Why.
    key : str
        Guards against a second entry.

    Raises
    ------
    Invalid
        If the entry is no run, the shots are what is already known, or no reason is given.
    """
    found = ToolEvent.objects.filter(pk=event_id).first()
    if found is None:
        raise NotFound(f"There is no tool event {event_id}.", event=event_id)
    Tool.objects.select_for_update(no_key=True).get(pk=found.tool_id)
    earlier = ToolEvent.objects.filter(key=key).first()
    if earlier is not None:
        if earlier.corrects_id != found.pk:
            raise Refused(f"The key {key} was used for another event; use a new key.", key=key)
        return earlier
    now_known = _known_shots(found)
    _refuse_correction(found, shots, words, now_known)
    return ToolEvent.objects.create(
        tool_id=found.tool_id, kind=ToolEventKind.CORRECTION, key=key, at=found.at,
        recorded_at=clock.now(), by=by, shots=shots - now_known, corrects=found, words=words,
    )  # fmt: skip


def _known_shots(run: ToolEvent) -> int:
    total = run.corrections.aggregate(total=Sum("shots"))["total"] or 0
    return run.shots + int(total)


def _refuse_correction(run: ToolEvent, shots: int, words: str, known: int) -> None:
    if run.kind != ToolEventKind.SHOTS:
        said = "the entry is no run of shots; only the shots of a run can be corrected."
        raise Invalid.one("shots", "not_a_run", said)
    if not 0 <= shots <= MOST_SHOTS:
        said = f"shots is {shots}; it must be 0 to {MOST_SHOTS}."
        raise Invalid.one("shots", "out_of_range", said, value=shots, limit=MOST_SHOTS)
    if shots == known:
        said = f"shots is {shots}; that is what is written down already."
        raise Invalid.one("shots", "unchanged", said, value=shots)
    if not words:
        raise Invalid.one("words", "required", "words is empty; say why it is corrected.")
