"""
Cells into the values the API takes, and back. Pure.

Nothing is rounded and nothing guessed: what can be read in two ways is refused, with what to
write instead.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from datetime import date, time
from decimal import Decimal, InvalidOperation
from typing import Any

from planning.files.columns import WEEKDAYS, Column
from shared.workbook_reading import Formula, Value

_PLAIN = re.compile(r"[+-]?\d{1,30}(\.\d{1,30})?", re.ASCII)
_COMMA = re.compile(r"[+-]?\d{1,30},\d{1,30}", re.ASCII)
_TWO_READINGS = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", re.ASCII)
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_OTHER_DAY = re.compile(r"(\d{1,2})[./ -](\d{1,2})[./ -](\d{4}|\d{2})", re.ASCII)
_CLOCK = re.compile(r"(\d{1,2})[:.](\d{2})", re.ASCII)
YES, NO = ("yes", "true"), ("no", "false")


class BadCell(ValueError):
    """A cell that cannot be read; says what would be accepted."""


def read_cell(column: Column, value: Value, *, comma: bool | None) -> Any:
    """
    Return what the API takes for a cell that is not empty.

    Parameters
    ----------
    column : Column
        What may stand in it.
    value : Value
        As the workbook has it; of a CSV file always text.
    comma : bool or None
        Of a CSV file whether its decimal sign is the comma, for its columns are divided by
        semicolons; None for a workbook, where a number is a number.

    Raises
    ------
    BadCell
        With the value and what to write.
    """
    if isinstance(value, Formula):
        raise BadCell(
            f"holds the formula {value.text[:40]!r}; copy the cell and paste its value only."
        )
    match column.kind:
        case "number":
            return _decimal(value, comma)
        case "whole":
            return _whole(value)
        case "day":
            return _day(value)
        case "clock":
            return _clock(value)
        case "yes":
            return _yes(value)
    words = _text(value)
    match column.kind:
        case "words":
            return [part.strip() for part in re.split(r"[,;]", words) if part.strip()]
        case "weekdays":
            return [_weekday(part.strip()) for part in re.split(r"[,;]", words) if part.strip()]
        case "rows":
            return _rows(column, words)
        case "json":
            return _json(words)
        case "choice":
            return _choice(column, words)
    return words


def _text(value: Value) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date | time):
        raise BadCell(
            f"is the spreadsheet's date {value.isoformat()}; format the cell as text and type it "
            "again."
        )
    if isinstance(value, Decimal):
        return format(value, "f")
    return str(value)


def _decimal(value: Value, comma: bool | None) -> str:
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, date | time | bool):
        raise BadCell(f"is {value}, no number; format the cell as a number and type it again.")
    words = str(value)
    if _TWO_READINGS.fullmatch(words) and ("," in words or comma is not False):
        one, other = re.sub(r"[.,]", "", words), re.sub(r"[.,]", ".", words)
        raise BadCell(
            f"is {words!r}, which can be read as {one} or as {other}; write {one} or "
            f"{other.rstrip('0').rstrip('.')}."
        )
    if _COMMA.fullmatch(words):
        words = words.replace(",", ".")
    if not _PLAIN.fullmatch(words):
        raise BadCell(
            f"is {words[:60]!r}; write a plain number such as 12.5, without unit and without "
            "thousands separators."
        )
    return words.removeprefix("+")


def _whole(value: Value) -> int:
    words = format(value, "f") if isinstance(value, Decimal) else str(value)
    try:
        if isinstance(value, date | time | bool):
            raise InvalidOperation
        number = Decimal(words)
        if number != int(number) or not re.fullmatch(r"-?\d+(\.0+)?", words, re.ASCII):
            raise InvalidOperation
    except (InvalidOperation, ValueError, OverflowError):
        raise BadCell(f"is {words[:60]!r}; write a whole number such as 12.") from None
    return int(number)


def _day(value: Value) -> str:
    if isinstance(value, date):
        return value.isoformat()
    words = format(value, "f") if isinstance(value, Decimal) else str(value)
    if _DAY.fullmatch(words):
        try:
            return date.fromisoformat(words).isoformat()
        except ValueError:
            raise BadCell(f"is {words!r}, a day that does not exist.") from None
    if found := _OTHER_DAY.fullmatch(words):
        one, two, year = found.groups()
        ways = _ways(int(one), int(two), int(year) + (2000 if len(year) == 2 else 0))
        if len(ways) == 2:
            raise BadCell(
                f"is {words!r}, which can be {ways[0]:%-d %B} or {ways[1]:%-d %B}; write "
                f"{ways[0]} or {ways[1]}."
            )
        if ways:
            raise BadCell(f"is {words!r}; write it as {ways[0]}.")
    raise BadCell(f"is {words[:60]!r}; write a day such as 2026-11-30.")


def _ways(one: int, two: int, year: int) -> list[date]:
    """Return the days that two numbers and a year can mean."""
    found: list[date] = []
    for month, number in ((two, one), (one, two)):
        try:
            way = date(year, month, number)
        except ValueError:
            continue
        if way not in found:
            found.append(way)
    return found


def _clock(value: Value) -> str:
    if isinstance(value, time):
        return f"{value:%H:%M}"
    found = _CLOCK.fullmatch(str(value))
    if found is None or isinstance(value, Decimal) or int(found[1]) > 23 or int(found[2]) > 59:
        raise BadCell(f"is {str(value)[:60]!r}; write a time of day such as 06:30.")
    return f"{int(found[1]):02d}:{found[2]}"


def _yes(value: Value) -> bool:
    if isinstance(value, bool):
        return value
    words = str(value).lower()
    if words in YES or words in NO:
        return words in YES
    raise BadCell(f"is {str(value)[:60]!r}; write yes or no.")


def _choice(column: Column, words: str) -> str:
    for known in column.choices:
        if words == known or words.lower() == known.lower():
            return known
    raise BadCell(f"is {words[:60]!r}; write one of {', '.join(column.choices)}.")


def _weekday(words: str) -> int:
    for n, known in enumerate(WEEKDAYS, start=1):
        if words == str(n) or (len(words) >= 3 and words.lower().startswith(known.lower())):
            return n
    raise BadCell(f"has {words[:40]!r}; write weekdays such as Sat, Sun.")


def _rows(column: Column, words: str) -> list[dict[str, Any]]:
    if words.startswith("["):
        found = _json(words)
        if isinstance(found, list) and all(isinstance(one, dict) for one in found):
            return found
        raise BadCell(f"is no list of entries; write {column.form}.")
    rows = []
    for entry in words.split(";"):
        if not entry.strip():
            continue
        parts = [part.strip() for part in entry.split("|")]
        if len(parts) > len(column.members):
            raise BadCell(f"has {entry.strip()[:60]!r}, too many parts; write {column.form}.")
        row: dict[str, Any] = {}
        for (name, kind), part in zip(column.members, parts, strict=False):
            if part:
                row[name] = read_cell(Column(name, kind, ""), part, comma=False)
        rows.append(row)
    return rows


def _json(words: str) -> Any:
    try:
        return json.loads(words, parse_float=lambda text: float(text), parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise BadCell(f"is {words[:60]!r}, which is no JSON.") from None


def _no_constant(name: str) -> Any:
    raise ValueError(name)


def written(column: Column, value: Any) -> Any:
    """Return what a cell holds for a value as the API answers it; None for an empty cell."""
    if value is None or value == "" or value == []:
        return None
    match column.kind:
        case "number":
            return Decimal(str(value))
        case "day":
            return date.fromisoformat(value) if isinstance(value, str) else value
        case "clock":
            return str(value)[:5]
        case "yes":
            return "yes" if value else "no"
        case "words":
            return ", ".join(value)
        case "weekdays":
            return ", ".join(WEEKDAYS[one - 1] for one in value)
        case "rows":
            return _entries(column, value)
        case "json":
            return json.dumps(value, sort_keys=True, ensure_ascii=False)
    return value


def _entries(column: Column, rows: Sequence[dict[str, Any]]) -> str:
    """Return entries as people write them; as JSON where a text has a sign that divides them."""
    names = [name for name, _ in column.members]
    plain = all(set(row) <= set(names) for row in rows)
    texts = [[_part(row.get(name)) for name in names] for row in rows]
    if not plain or any(set(part) & set("|;[") for parts in texts for part in parts):
        return json.dumps(list(rows), ensure_ascii=False)
    return "; ".join(" | ".join(parts).rstrip(" |") for parts in texts)


def _part(value: Any) -> str:
    return (
        "" if value is None else format(value, "f") if isinstance(value, Decimal) else str(value)
    )
