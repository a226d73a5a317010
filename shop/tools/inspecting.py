"""An inspection: what was found at each checkpoint, and whether the tool may pass by it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Q, QuerySet

from shared.errors import Invalid
from shop.errors import Refused
from shop.tools.inspection_models import Checkpoint, ToolFinding
from shop.tools.models import Tool, ToolEvent, ToolEventKind, ToolStatus

ACCEPT, OUT_OF_USE = "accept", ("rework", "reject")
VERDICTS = (ACCEPT, *OUT_OF_USE)
LARGEST = Decimal(10_000_000)
STEP = Decimal("0.0001")


class OutsideTolerance(Refused):
    """A tool passed with a finding that is not good; asked for before it counts."""

    own_code = "outside_tolerance"


class CheckpointsLeftOut(Refused):
    """A tool passed without looking at all of its checklist; asked for before it counts."""

    own_code = "checkpoints_left_out"


@dataclass(frozen=True)
class Finding:
    """What was found at one checkpoint: a value in its unit, or whether it is good."""

    checkpoint: Checkpoint
    value: Decimal | None = None
    good: bool | None = None
    words: str = ""


def checklist(tool: Tool) -> QuerySet[Checkpoint]:
    """Return what an inspection of a tool looks at: its own points and those of its family."""
    own = Q(tool=tool) | Q(family=tool.family_id, family__isnull=False)
    return Checkpoint.objects.filter(own, site=tool.site_id, in_use=True).order_by("code")


def looked_at(
    tool: Tool, kind: str, findings: Sequence[Finding], verdict: str, *, confirmed: bool
) -> list[ToolFinding]:
    """
    Return the rows of an inspection, after everything that forbids its verdict was looked at.

    Raises
    ------
    Invalid
        On the finding that makes no sense.
    OutsideTolerance, CheckpointsLeftOut
        409, where the tool is to pass all the same and nobody confirms it.
    """
    if kind != ToolEventKind.INSPECTION:
        if findings:
            raise Invalid.one("findings", "not_an_inspection", "findings belong to an inspection.")
        return []
    if verdict not in ("", *VERDICTS):
        words = f"verdict is {verdict[:40]!r}; it must be one of {', '.join(VERDICTS)}."
        raise Invalid.one("verdict", "invalid_choice", words, value=verdict[:40])
    listed = {point.pk: point for point in checklist(tool)}
    rows = [_row(n, one, listed) for n, one in enumerate(findings)]
    _refuse_twice(rows)
    if verdict == ACCEPT and not confirmed:
        _refuse_pass(tool, rows, listed.values())
    return rows


def store(event: ToolEvent, rows: Iterable[ToolFinding]) -> None:
    """Keep what an inspection found."""
    for row in rows:
        row.event = event
    ToolFinding.objects.bulk_create(rows)


def after_inspection(tool: Tool, verdict: str) -> ToolStatus | None:
    """Tell the state that a verdict brings: passed, back in service; failed, under repair."""
    if verdict == ACCEPT and tool.status == ToolStatus.REPAIR:
        return ToolStatus.IN_SERVICE
    if verdict in OUT_OF_USE and tool.status == ToolStatus.IN_SERVICE:
        return ToolStatus.REPAIR
    return None


def fault(row: ToolFinding) -> str:
    """Say what is wrong with a finding; empty where it is good."""
    if row.passes:
        return ""
    name = row.checkpoint.name
    if row.value is None:
        return f"{name} is not good"
    unit = row.checkpoint.unit
    return (
        f"{name} is {row.value.normalize():f} {unit}; it must be {_plain(row.lowest)} to "
        f"{_plain(row.highest)} {unit}"
    )


def _plain(value: Decimal | None) -> str:
    return "" if value is None else f"{value.normalize():f}"


def _row(n: int, one: Finding, listed: dict[int, Checkpoint]) -> ToolFinding:
    point, where = one.checkpoint, f"findings/{n}"
    if point.pk not in listed:
        words = f"checkpoint is {point.code}; it is not on the checklist of this tool."
        raise Invalid.one(f"{where}/checkpoint", "not_on_the_list", words, value=point.code)
    if point.unit:
        if one.value is None or one.good is not None:
            words = f"{point.name} is measured; give its value in {point.unit}, and no yes or no."
            raise Invalid.one(f"{where}/value", "required", words)
        if abs(one.value) >= LARGEST or one.value != one.value.quantize(STEP):
            words = (
                f"value is {one.value} {point.unit}; give at most 4 decimals, below {LARGEST:,}."
            )
            raise Invalid.one(f"{where}/value", "out_of_range", words, value=one.value)
    elif one.good is None or one.value is not None:
        words = f"{point.name} is answered by yes or no; give good, and no value."
        raise Invalid.one(f"{where}/good", "required", words)
    return ToolFinding(
        checkpoint=point, value=one.value, good=one.good, words=one.words,
        lowest=point.lowest, highest=point.highest,
    )  # fmt: skip


def _refuse_twice(rows: Sequence[ToolFinding]) -> None:
    seen: set[int] = set()
    for n, row in enumerate(rows):
        if row.checkpoint_id in seen:
            words = f"checkpoint {row.checkpoint.code} stands twice; give one finding for each."
            raise Invalid.one(f"findings/{n}/checkpoint", "twice", words)
        seen.add(row.checkpoint_id)


def _refuse_pass(tool: Tool, rows: Sequence[ToolFinding], listed: Iterable[Checkpoint]) -> None:
    if faults := [words for row in rows if (words := fault(row))]:
        raise OutsideTolerance(
            f"{'; '.join(faults)}. Have {tool.code} repaired, or confirm that it passes as it is.",
            tool=tool.code,
        )
    seen = {row.checkpoint_id for row in rows}
    if missing := [point.name for point in listed if point.pk not in seen]:
        raise CheckpointsLeftOut(
            f"Not looked at: {', '.join(missing)}. Look at the whole checklist, or confirm that "
            f"{tool.code} passes without.",
            tool=tool.code,
        )
