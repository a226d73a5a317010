"""Reading a temperature record and post-cure steps as people paste them."""

from __future__ import annotations

import re
from datetime import datetime

from planning.core.cure import PostCureStep

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
