"""Reading a temperature record and post-cure steps as people paste them."""

from __future__ import annotations

import re
from datetime import datetime

from planning.core.casting.cure import PostCureStep
from planning.core.casting.faces import AIR_TOP, tool_side
from planning.core.casting.logged import LoggedPour

MOST_READINGS = 500
_SPLIT = re.compile(r"\s*[,;\t]\s*")
_NUMBER = re.compile(r"-?\d{1,6}(\.\d{1,6})?")


class BadRecord(ValueError):
    """A line that cannot be read; says which, what it holds and what would be accepted."""


def readings(text: str) -> tuple[list[float], list[float]]:
    """
    Read a record of temperatures.

    Parameters
    ----------
    text : str
        One reading a line: hours or a moment, a comma, semicolon or tab, and °C. A first line of
        headings is passed over. Moments count from the first one.

    Returns
    -------
    tuple of list of float
        Hours and temperatures in C, both empty for an empty text.

    Raises
    ------
    BadRecord
        Naming the line, its text and the form that is accepted.
    """
    hours: list[float] = []
    temps_c: list[float] = []
    origin: datetime | None = None
    for number, line in enumerate(text.splitlines(), start=1):
        cells = _SPLIT.split(line.strip())
        if cells == [""] or (number == 1 and not re.search(r"\d", line)):
            continue
        if len(cells) != 2:
            raise BadRecord(
                f"record, line {number}: {line.strip()[:60]!r} has {len(cells)} parts; it must be "
                "a time and a temperature such as 4.5, 21.0, with a decimal point."
            )
        hour, origin = _hour(cells[0], number, origin, first=not hours)
        if hours and hour <= hours[-1]:
            raise BadRecord(
                f"record, line {number}: the time {cells[0]} is not after the line before; times "
                "must rise."
            )
        hours.append(hour)
        temps_c.append(_temperature(cells[1], number))
    if len(hours) > MOST_READINGS:
        raise BadRecord(f"record has {len(hours)} readings; at most {MOST_READINGS} are read.")
    return hours, temps_c


def post_cure_steps(text: str) -> list[PostCureStep]:
    """
    Read post-cure steps, one a line: to °C, at °C per hour, hold minutes.

    Raises
    ------
    BadRecord
        Naming the line, its text and the form that is accepted.
    """
    steps = []
    for number, line in enumerate(text.splitlines(), start=1):
        cells = _SPLIT.split(line.strip())
        if cells == [""] or (number == 1 and not re.search(r"\d", line)):
            continue
        if len(cells) != 3 or not all(_NUMBER.fullmatch(cell) for cell in cells):
            raise BadRecord(
                f"post_cure, line {number}: {line.strip()[:60]!r} must be three numbers such as "
                "50, 10, 240: to °C, at °C per hour, hold minutes."
            )
        try:
            steps.append(PostCureStep(*(float(cell) for cell in cells)))
        except ValueError as error:
            raise BadRecord(f"post_cure, line {number}: {error}.") from error
    if len(steps) > 20:
        raise BadRecord(f"post_cure has {len(steps)} steps; at most 20 are read.")
    return steps


def logged_pours(text: str) -> list[LoggedPour]:
    """
    Read logged pours: a line about each, its readings below, an empty line between.

    Raises
    ------
    BadRecord
        Naming the line, its text and the form that is accepted.
    """
    pours: list[LoggedPour] = []
    lines = text.splitlines()
    start = 0
    while start < len(lines):
        if not lines[start].strip():
            start += 1
            continue
        end = start
        while end < len(lines) and lines[end].strip():
            end += 1
        pours.append(_pour(lines[start:end], start + 1))
        start = end
    if len(pours) > 8:
        raise BadRecord(f"pours holds {len(pours)} pours; at most 8 are fitted at once.")
    return pours


def times_seen(text: str) -> tuple[list[float], list[float]]:
    """
    Read times at temperatures, one a line: °C, minutes.

    Raises
    ------
    BadRecord
        Naming the line, its text and the form that is accepted.
    """
    temps_c: list[float] = []
    minutes: list[float] = []
    for number, line in enumerate(text.splitlines(), start=1):
        cells = _SPLIT.split(line.strip())
        if cells == [""] or (number == 1 and not re.search(r"\d", line)):
            continue
        if len(cells) != 2 or not all(_NUMBER.fullmatch(cell) for cell in cells):
            raise BadRecord(
                f"times, line {number}: {line.strip()[:60]!r} must be two numbers such as "
                "23, 95: °C, minutes."
            )
        temps_c.append(float(cells[0]))
        minutes.append(float(cells[1]))
    return temps_c, minutes


def _pour(lines: list[str], number: int) -> LoggedPour:
    cells = _SPLIT.split(lines[0].strip())
    if len(cells) != 4 or not all(_NUMBER.fullmatch(cell) for cell in cells[:3]):
        raise BadRecord(
            f"pours, line {number}: {lines[0].strip()[:60]!r} must be such as 70, 35, 23, board: "
            "depth mm, height of the probe mm, shop °C, what it stands on."
        )
    try:
        hours, temps_c = readings("\n".join(lines[1:]))
    except BadRecord as error:
        raise BadRecord(f"pours, the pour at line {number}: {error}") from error
    try:
        return LoggedPour(
            depth_mm=float(cells[0]), height_mm=float(cells[1]), shop_c=float(cells[2]),
            base=tool_side(cells[3]), top=AIR_TOP, times_h=tuple(hours), temps_c=tuple(temps_c),
        )  # fmt: skip
    except ValueError as error:
        raise BadRecord(f"pours, the pour at line {number}: {error}.") from error


def _hour(
    cell: str, number: int, origin: datetime | None, *, first: bool
) -> tuple[float, datetime | None]:
    if _NUMBER.fullmatch(cell):
        if origin is not None:
            raise BadRecord(f"record, line {number}: {cell} is hours, the first line is a moment.")
        return float(cell), None
    try:
        moment = datetime.fromisoformat(cell)
    except ValueError:
        raise BadRecord(
            f"record, line {number}: the time {cell[:40]!r} is neither hours such as 4.5 nor a "
            "moment such as 2026-11-25T08:00."
        ) from None
    if origin is None:
        if not first:
            raise BadRecord(f"record, line {number}: {cell} is a moment, the first line is hours.")
        return 0.0, moment
    if (moment.tzinfo is None) != (origin.tzinfo is None):
        raise BadRecord(f"record, line {number}: {cell} and the first moment need an offset both.")
    return (moment - origin).total_seconds() / 3600, origin


def _temperature(cell: str, number: int) -> float:
    if not _NUMBER.fullmatch(cell):
        raise BadRecord(
            f"record, line {number}: the temperature {cell[:40]!r} must be a number such as 21.5, "
            "in °C with a decimal point."
        )
    temp_c = float(cell)
    if not -40 <= temp_c <= 250:
        raise BadRecord(
            f"record, line {number}: the temperature is {cell} °C; it must be -40 to 250 °C."
        )
    return temp_c
