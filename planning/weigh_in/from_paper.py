"""
Entering afterwards what was written on a batch's paper: one form, all of it or nothing.

What is on paper has happened. It goes through the same actions as an entry of the moment, marked
as late: the gate refuses nothing, and quarantines the castings where something stood in the way.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction

from planning.batches.models import Batch, BatchEntry, BatchLine, BatchPortion, EntryKind
from planning.weigh_in import actions
from planning.weigh_in.gate import Passing
from shared import clock, wall_clock
from shared.errors import Invalid, ShopError

CANS_IN_A_ROW = (1, 2)
"""A row on paper has room for its can and for another one."""
CONDITIONS = (
    ("air_c", "Air, °C"),
    ("humidity_percent", "Humidity, %"),
    ("surface_c", "Surface, °C"),
    ("mix_c", "Mix, °C"),
)
HALF_A_DAY = timedelta(hours=12)
OTHER_CAN = "other can, as written on paper"
_KG = re.compile(r"\d{1,4}([.,]\d{1,4})?", re.ASCII)
_DEGREES = re.compile(r"-?\d{1,3}([.,]\d{1,2})?", re.ASCII)
_TIME = re.compile(r"([01]?\d|2[0-3])[:.]([0-5]\d)", re.ASCII)


@dataclass(frozen=True)
class Paper:
    """One batch's paper as it was typed in; `post` are the form's fields."""

    batch: Batch
    post: Mapping[str, str]
    now: datetime
    by: Any
    key: str
    """Makes a second sending of the same form harmless."""


def fields_of(batch: Batch, post: Mapping[str, str]) -> dict[str, Any]:
    """Return the fields of the form as its page draws them, with what was typed."""

    def field(name: str, label: str) -> dict[str, str]:
        return {"name": name, "label": label, "value": post.get(name, "")}

    return {
        "conditions": [field(name, label) for name, label in CONDITIONS],
        "lines": [
            {
                "line": line,
                "had": sum((one.kg for one in line.weighings.all()), Decimal(0)),
                "cans": [
                    {
                        "kg": field(f"kg-{line.pk}-{n}", f"{_row(line)}{_nth(n)}, weighed, kg"),
                        "can": field(f"can-{line.pk}-{n}", f"{_row(line)}{_code(n)}"),
                    }
                    for n in CANS_IN_A_ROW
                ],
            }
            for line in batch.lines.all()
        ],
        "portions": [
            {
                "portion": portion,
                "kg": field(f"poured-{portion.pk}", f"{portion.lift}, poured, kg"),
                "at": field(f"at-{portion.pk}", f"{portion.lift}, at"),
            }
            for portion in batch.portions.all()
        ],
    }


def _nth(n: int) -> str:
    return "" if n == 1 else ", second can"


def _code(n: int) -> str:
    return f"{_nth(n) or ', other can'}, code"


def _row(line: BatchLine) -> str:
    return f"{line.role.capitalize()} from {line.container.code}"


@transaction.atomic
def enter(paper: Paper) -> int:
    """
    Record everything that was typed, in the order it happened; return how many entries were made.

    Raises
    ------
    ShopError
        With the field as the page names it; nothing is recorded then.
    """
    begun = _moment(paper, "weighed_at", "Weighed at")
    contact = _moment(paper, "contact_at", "First contact at", after=begun)
    made = _conditions(paper, begun) + _stirred(paper, begun) + _weighings(paper, begun)
    if contact is not None:
        _entry(paper, EntryKind.CONTACT, contact, "First contact at")
        made += 1
    for portion in paper.batch.portions.all():
        made += _poured(paper, portion, contact or paper.batch.contact_at)
    words = paper.post.get("remark", "").replace("\0", "").strip()
    if words:
        _entry(paper, EntryKind.REMARK, paper.now, "Remark", words=words[:400])
        made += 1
    if not made:
        raise ShopError("Nothing is filled in. Type what is written on the paper.", code="empty")
    return made


def _conditions(paper: Paper, begun: datetime | None) -> int:
    facts = {}
    for name, label in CONDITIONS:
        typed = paper.post.get(name, "").strip()
        if not typed:
            continue
        if not _DEGREES.fullmatch(typed):
            raise _refused(
                name, f"{label.replace(', ', ' in ')} is {typed[:20]!r}; type a number."
            )
        facts[name] = typed.replace(",", ".")
    if not facts:
        return 0
    at = _needed(begun, "weighed_at", "Weighed at")
    _entry(paper, EntryKind.CONDITIONS, at, "Air, humidity, surface, mix", facts=facts)
    return 1


def _stirred(paper: Paper, begun: datetime | None) -> int:
    """Sign what the paper says was stirred: every can that something was weighed from."""
    if not paper.post.get("stirred"):
        return 0
    cans = {(line, can) for line, _, _, can in _typed_weights(paper)}
    for line, can in sorted(cans, key=lambda row: (row[0].pk, row[1])):
        with _named(f"{_row(line)}, stirred"):
            actions.record_entry(
                batch=paper.batch,
                kind=EntryKind.STIRRED,
                key=f"{paper.key}:stirred:{line.pk}:{can}"[:120],
                at=_needed(begun, "weighed_at", "Weighed at"),
                now=paper.now,
                by=paper.by,
                line=line,
                container_code=can,
            )
    return len(cans)


def _weighings(paper: Paper, begun: datetime | None) -> int:
    made = 0
    typed: dict[int, Decimal] = {}
    for line, n, kg, can in _typed_weights(paper):
        label = f"{_row(line)}{_nth(n)}"
        with _named(label):
            actions.record_weighing(
                line=line,
                weighed_kg=kg,
                key=f"{paper.key}:{line.pk}:{n}",
                at=_needed(begun, "weighed_at", "Weighed at"),
                now=paper.now,
                by=paper.by,
                container_code=can,
                reason=OTHER_CAN if can else "",
                already=True,
                # Of a row that was weighed into on a page as well, the second is refused.
                already_kg=typed.get(line.pk, Decimal(0)),
            )
        typed[line.pk] = typed.get(line.pk, Decimal(0)) + kg
        made += 1
    return made


def _typed_weights(paper: Paper) -> Iterator[tuple[BatchLine, int, Decimal, str]]:
    for line in paper.batch.lines.all():
        for n in CANS_IN_A_ROW:
            name = f"kg-{line.pk}-{n}"
            can = paper.post.get(f"can-{line.pk}-{n}", "").replace("\0", "").strip()
            kg = _kg(paper, name, f"{_row(line)}{_nth(n)}, weighed, kg,")
            if kg is not None:
                yield line, n, kg, can
            elif can:
                raise _refused(name, f"{_row(line)}{_nth(n)}: a can is named, but no kg.")


def _poured(paper: Paper, portion: BatchPortion, contact: datetime | None) -> int:
    kg = _kg(paper, f"poured-{portion.pk}", f"{portion.lift}, poured, kg,")
    at = _moment(paper, f"at-{portion.pk}", f"{portion.lift}, at", contact, twice="later")
    if kg is None and at is None:
        return 0
    at = _needed(at, f"at-{portion.pk}", f"{portion.lift}, at")
    facts = {} if kg is None else {"kg": f"{kg:.4f}"}
    _entry(paper, EntryKind.POURED, at, str(portion.lift), portion=portion, facts=facts)
    return 1


def _entry(paper: Paper, kind: EntryKind, at: datetime, label: str, **more: Any) -> BatchEntry:
    portion = more.get("portion")
    tail = "" if portion is None else f":{portion.pk}"
    with _named(label):
        return actions.record_entry(
            batch=paper.batch,
            kind=kind,
            key=f"{paper.key}:{kind}{tail}",
            at=at,
            now=paper.now,
            by=paper.by,
            passing=Passing(already=True),
            **more,
        )


class _named:
    """Say in a refusal which field of the form it is about."""

    def __init__(self, label: str) -> None:
        self.label = label

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: Any, error: Any, trace: Any) -> None:
        if isinstance(error, ShopError):
            error.message = f"{self.label}: {error.message}"
            error.args = (error.message,)


def _kg(paper: Paper, name: str, label: str) -> Decimal | None:
    typed = paper.post.get(name, "").strip()
    if not typed:
        return None
    if not _KG.fullmatch(typed):
        raise _refused(name, f"{label} is {typed[:20]!r}; type kg with at most 4 decimals.")
    return Decimal(typed.replace(",", "."))


def _moment(
    paper: Paper,
    name: str,
    label: str,
    after: datetime | None = None,
    twice: wall_clock.Twice = "earlier",
) -> datetime | None:
    """
    Return a clock time of the paper's day; one before what it follows is of the next day.

    Of a time that the clock showed twice the earlier counts, so that no pot lives too long; a
    lift counts as poured at the later, so that it cures no sooner.
    """
    typed = paper.post.get(name, "").strip()
    if not typed:
        return None
    found = _TIME.fullmatch(typed)
    if found is None:
        raise _refused(name, f"{label} is {typed[:20]!r}; type a time such as 14:05.")
    zone = clock.zone(paper.batch.site.time_zone)
    wall = datetime.combine(_day(paper), time(int(found[1]), int(found[2])))
    if after is not None and wall < after.astimezone(zone).replace(tzinfo=None) - HALF_A_DAY:
        wall += timedelta(days=1)
    return wall_clock.resolved(wall, zone, name=label, field=name, twice=twice, now=paper.now)


def _day(paper: Paper) -> date:
    typed = paper.post.get("day", "").strip()
    try:
        day = date.fromisoformat(typed)
    except ValueError:
        raise _refused("day", f"Day is {typed[:20]!r}; type it as 2026-11-30.") from None
    today = clock.local(paper.now, paper.batch.site).date()
    if day > today:
        raise _refused("day", f"Day is {day}, which is ahead; give {today} or an earlier day.")
    return day


def _needed(at: datetime | None, name: str, label: str) -> datetime:
    if at is None:
        raise _refused(name, f"{label} is empty; type the time, such as 14:05.")
    return at


def _refused(name: str, words: str) -> Invalid:
    return Invalid.one(name, "invalid", words)
