"""Reading which months are asked for."""

from __future__ import annotations

from datetime import date

from shared.errors import Invalid
from shop.page_forms import month

__all__ = ["MOST_MONTHS", "back", "month"]

MOST_MONTHS = 36


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
