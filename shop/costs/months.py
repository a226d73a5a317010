"""Reading which months are asked for."""

from __future__ import annotations

import calendar
import re
from datetime import date

from shared.errors import Invalid

MOST_MONTHS = 36


def month(text: str | None, today: date) -> tuple[date, date]:
    """Return the first and last day of a month such as 2026-11; the present one when left out."""
    if not text:
        text = f"{today:%Y-%m}"
    if not re.fullmatch(r"(19|20)[0-9]{2}-(0[1-9]|1[0-2])", text, re.ASCII):
        words = f"month is {text[:20]!r}; give a month such as {today:%Y-%m}."
        raise Invalid.one("month", "not_a_month", words, value=text[:20])
    year, number = int(text[:4]), int(text[5:])
    return date(year, number, 1), date(year, number, calendar.monthrange(year, number)[1])


def back(text: str | None, today: date) -> tuple[date, date]:
    """Return the first day of so many months back, this one included, and today."""
    if text and (
        not text.isascii() or not text.isdigit() or not 1 <= int(text[:4]) <= MOST_MONTHS
    ):
        words = f"months is {text[:20]!r}; give a whole number, 1 to {MOST_MONTHS}."
        raise Invalid.one("months", "out_of_range", words, value=text[:20], limit=MOST_MONTHS)
    count = int(text) if text else 12
    before = today.year * 12 + today.month - count
    return date(before // 12, before % 12 + 1, 1), today
