"""Shots from a press counter as a CSV file: every bad row named, all rows taken in or none."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from django.db import transaction

from shared import clock, wall_clock
from shared.access.models import Site, User
from shared.csv_rows import at_line, rows_of
from shared.errors import FieldProblem, Invalid, ShopError
from shared.times import happened
from shop.tools.actions import add_event
from shop.tools.models import Tool, ToolEvent, ToolEventKind
from shop.tools.runs import MOST_SHOTS, Readings

MOST_BYTES = 2_000_000
MOST_ROWS = 5_000
NEEDED = ("tool", "at")
COUNTED = ("shots", "counter")
OTHERS = ("temperature_c", "cycle_s", "clamp_kn", "confirmed")
COLUMNS = (*NEEDED, *COUNTED, *OTHERS)
COUNTER = "counter"
"""The fact that keeps what the press counter showed."""
YES = ("yes", "true", "1")


@dataclass
class Loaded:
    """What came of a file: runs entered, rows known from before, first counter readings."""

    entered: int = 0
    known: int = 0
    first_readings: list[str] = field(default_factory=list)


@transaction.atomic
def load_counter_file(*, site: Site, data: bytes, by: User | None = None) -> Loaded:
    """
    Enter the runs of a file; rows of a file that was loaded before change nothing.

    A row gives `shots` of one run, or what the `counter` showed at its end; the first reading of
    a tool only sets the counter's start.

    Raises
    ------
    Invalid
        With one problem for each bad row, its pointer ``#/rows/<line>/<column>``; the line
        counts from 1 with the header as line 1. Nothing is entered then.
    """
    problems: list[FieldProblem] = []
    loaded = Loaded()
    rows = list(
        rows_of(
            data,
            columns=COLUMNS,
            needed=NEEDED,
            most_rows=MOST_ROWS,
            most_bytes=MOST_BYTES,
            numbers=OTHERS[:2],
        )
    )
    codes = {cells["tool"] for _, cells in rows}
    tools = {t.code: t for t in Tool.objects.filter(site=site, code__in=codes)}
    for line, cells in rows:
        try:
            _take(site, tools, cells, by, loaded)
        except Invalid as error:
            problems += [at_line(line, problem) for problem in error.problems]
        except ShopError as error:
            words = f"Line {line}: {error.message}"
            problems.append(FieldProblem(f"#/rows/{line}", error.code, words))
    if problems:
        count = f"{len(problems)} problem{'s' * (len(problems) > 1)} found"
        shown = " ".join(problem.detail for problem in problems[:3])
        raise Invalid(f"{count}; nothing was entered. {shown}", tuple(problems))
    return loaded


def _take(
    site: Site, tools: dict[str, Tool], cells: dict[str, str], by: User | None, loaded: Loaded
) -> None:
    tool = tools.get(cells["tool"])
    if tool is None:
        words = f"tool is {cells['tool'][:40]!r}; this site has no tool of that code."
        raise Invalid.one("tool", "does_not_exist", words, value=cells["tool"][:40])
    at = happened(_moment(cells["at"], site), now=clock.now(), site=site)
    key = f"press:{tool.pk}:{at.timestamp():.0f}"
    shots, facts = _shots(tool, at, key, cells)
    if shots == 0 and COUNTER in facts and ToolEvent.objects.filter(key=key).exists():
        loaded.known += 1
        return
    new = not ToolEvent.objects.filter(key=key).exists()
    kind = ToolEventKind.SHOTS if shots else ToolEventKind.NOTE
    readings = Readings(*(_number(cells, name) for name in OTHERS[:3]))
    if not shots:
        loaded.first_readings.append(tool.code)
        readings = Readings()
    add_event(
        tool_id=tool.pk, kind=kind, key=key, at=at, by=by, shots=shots, readings=readings,
        confirmed=cells.get("confirmed", "").lower() in YES, facts=facts,
        words="From the press counter." if shots else "The press counter starts here.",
    )  # fmt: skip
    loaded.entered += new and bool(shots)
    loaded.known += not new


def _shots(
    tool: Tool, at: datetime, key: str, cells: dict[str, str]
) -> tuple[int, dict[str, Any]]:
    """Return the shots of a row and what to keep of its counter; 0 for a first reading."""
    given = [name for name in COUNTED if cells.get(name)]
    if len(given) != 1:
        words = "Give either shots or counter in a row."
        raise Invalid.one("shots", "required", words)
    if given == ["shots"]:
        return _whole(cells, "shots", 1), {}
    reading = _whole(cells, "counter", 0)
    before = (
        ToolEvent.objects.filter(
            tool=tool, at__lt=at, facts__has_key=COUNTER, key__startswith=f"press:{tool.pk}:"
        )
        .exclude(key=key)
        .order_by("-at", "-id")
        .first()
    )
    if before is None:
        return 0, {COUNTER: reading}
    last = int(before.facts[COUNTER])
    if reading <= last:
        words = (
            f"counter is {reading}; it showed {last} at {before.at:%Y-%m-%d %H:%M} UTC. Give the "
            "shots of this run where the counter was set back."
        )
        raise Invalid.one("counter", "too_low", words, value=reading, limit=last)
    return reading - last, {COUNTER: reading}


def _whole(cells: dict[str, str], name: str, least: int) -> int:
    typed = cells[name]
    most = MOST_SHOTS if name == "shots" else 10**9
    if not (typed.isascii() and typed.isdigit() and len(typed) < 11):
        words = f"{name} is {typed[:40]!r}; it must be a whole number."
        raise Invalid.one(name, "not_whole", words, value=typed[:40])
    if not least <= int(typed) <= most:
        words = f"{name} is {typed}; it must be {least} to {most}."
        raise Invalid.one(name, "out_of_range", words, value=typed, limit=most)
    return int(typed)


def _number(cells: dict[str, str], name: str) -> Decimal | None:
    typed = cells.get(name, "")
    if not typed:
        return None
    try:
        found = Decimal(typed)
    except InvalidOperation:
        found = Decimal("NaN")
    if not found.is_finite() or not 0 < found < 10_000:
        words = f"{name} is {typed[:40]!r}; it must be a number above 0 such as 85.5."
        raise Invalid.one(name, "not_decimal", words, value=typed[:40])
    return round(found, 1)


def _moment(typed: str, site: Site) -> datetime:
    # Two runs of one counter must not become one: of a time shown twice the file says which.
    return wall_clock.moment(typed, clock.zone(site.time_zone), name="at")
