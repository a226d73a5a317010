"""Reading what people type into pages: numbers, days and choices, refused in sentences."""

from __future__ import annotations

import calendar
import re
from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from django.db.models import Model, QuerySet

from shared import clock, wall_clock
from shared.errors import Invalid

Row = TypeVar("Row", bound=Model)
_MONTH = re.compile(r"(19|20)[0-9]{2}-(0[1-9]|1[0-2])", re.ASCII)
_NUMBER = re.compile(r"\d{1,10}(\.\d{1,4})?", re.ASCII)


def text(post: Mapping[str, str], name: str, most: int = 200) -> str:
    """Return what was typed, without spaces at its ends."""
    # PostgreSQL cannot keep a NUL, and nobody types one.
    found = post.get(name, "").replace("\0", "").strip()
    if len(found) > most:
        words = f"{name} has {len(found)} characters; at most {most} are kept."
        raise Invalid.one(name, "too_long", words, value=len(found), limit=most)
    return found


def number(post: Mapping[str, str], name: str, unit: str = "") -> Decimal:
    """Return a number of at most four decimals; a comma is not guessed at."""
    typed = post.get(name, "").strip()
    if not _NUMBER.fullmatch(typed):
        words = (
            f"{name} is {typed[:40]!r}; type a number such as 12.5"
            f"{f' in {unit}' if unit else ''}, with a point and at most 4 decimals."
        )
        raise Invalid.one(name, "not_decimal", words, value=typed[:40], unit=unit or None)
    return Decimal(typed)


def whole(post: Mapping[str, str], name: str, most: int, least: int = 1) -> int:
    """Return a whole number within limits."""
    typed = post.get(name, "").strip()
    if not (typed.isascii() and typed.isdigit() and len(typed) < 10):
        words = f"{name} is {typed[:40]!r}; type a whole number."
        raise Invalid.one(name, "not_whole", words, value=typed[:40])
    if not least <= int(typed) <= most:
        words = f"{name} is {typed}; it must be {least} to {most}."
        raise Invalid.one(name, "out_of_range", words, value=typed, limit=most)
    return int(typed)


def day(post: Mapping[str, str], name: str) -> date | None:
    """Return a day, or nothing where it was left empty."""
    typed = post.get(name, "").strip()
    if not typed:
        return None
    try:
        return date.fromisoformat(typed)
    except ValueError:
        words = f"{name} is {typed[:40]!r}; no such day, type it as 2026-11-30."
        raise Invalid.one(name, "not_a_day", words, value=typed[:40]) from None


def row_id(typed: str) -> int | None:
    """Return the id that a text is, or nothing where it is none."""
    fits = typed.isascii() and typed.isdigit() and len(typed) < 19
    return int(typed) if fits else None


def chosen(post: Mapping[str, str], name: str, rows: QuerySet[Row]) -> Row | None:
    """Return the row that was chosen, or nothing where the choice was left empty."""
    typed = post.get(name, "").strip()
    if not typed:
        return None
    key = row_id(typed)
    found: Any = None if key is None else rows.filter(pk=key).first()
    if found is None:
        words = f"{name} is {typed[:40]!r}; choose one from the list."
        raise Invalid.one(name, "does_not_exist", words, value=typed[:40])
    return found


def moment(post: Mapping[str, str], name: str, zone: ZoneInfo) -> datetime | None:
    """
    Return the moment that the wall clock of a site shows; None where it was left empty.

    Of a time that it has shown twice the later counts: what waits for it waits longer.
    """
    typed = post.get(name, "").strip()
    if not typed:
        return None
    return wall_clock.moment(typed, zone, name=name, field=name, twice="later", now=clock.now())


def month(text: str | None, today: date) -> tuple[date, date]:
    """Return the first and last day of a month such as 2026-11; the present one when left out."""
    if not text:
        text = f"{today:%Y-%m}"
    if not _MONTH.fullmatch(text):
        words = f"month is {text[:20]!r}; give a month such as {today:%Y-%m}."
        raise Invalid.one("month", "not_a_month", words, value=text[:20])
    year, number = int(text[:4]), int(text[5:])
    return date(year, number, 1), date(year, number, calendar.monthrange(year, number)[1])
