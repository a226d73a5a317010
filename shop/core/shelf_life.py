"""How long a lot may be used: from its label, its shelf life, its opening and its storage."""

from __future__ import annotations

import calendar
import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta


@dataclass(frozen=True)
class Clock:
    """One reason a lot goes out of date; `until` is the last day it may be used."""

    name: str
    until: date


@dataclass(frozen=True)
class UsableUntil:
    """The last usable day of a lot and the clock that sets it; both None if no clock runs."""

    until: date | None
    binding: str | None
    clocks: tuple[Clock, ...]

    def usable_on(self, day: date) -> bool:
        """Tell whether the lot may be used on `day`; the expiry day itself still counts."""
        return self.until is None or day <= self.until


def add_months(day: date, months: int) -> date:
    """
    Move a day by calendar months, clamped to the end of a shorter month.

    Parameters
    ----------
    day : datetime.date
        Day to count from.
    months : int
        Whole calendar months; may be negative.

    Returns
    -------
    datetime.date
        The same day of the month, or the last day of a month that has no such day.

    Notes
    -----
    A shelf life in months is never turned into days or seconds: a month has no fixed length.
    Clamping is common practice, no source; `dateutil.relativedelta` does the same.

    Examples
    --------
    >>> add_months(date(2026, 1, 31), 1)
    datetime.date(2026, 2, 28)
    >>> add_months(date(2024, 2, 29), 12)
    datetime.date(2025, 2, 28)
    """
    year, month0 = divmod(day.year * 12 + day.month - 1 + months, 12)
    last = calendar.monthrange(year, month0 + 1)[1]
    return date(year, month0 + 1, min(day.day, last))


def sealed_until(made_on: date, *, months: int = 0, days: int = 0) -> date:
    """
    Return the last usable day of an unopened container.

    Parameters
    ----------
    made_on : datetime.date
        Day the shelf life counts from.
    months, days : int
        Shelf life; the months are added on the calendar first, then the days.

    Raises
    ------
    ValueError
        If the shelf life is not above zero.
    """
    if months < 0 or days < 0 or months + days == 0:
        raise ValueError(f"shelf life is {months} months and {days} days; it must be above 0")
    return add_months(made_on, months) + timedelta(days=days)


def open_until(opened_on: date, open_life_days: int) -> date:
    """
    Return the last usable day of a container that was opened.

    Parameters
    ----------
    opened_on : datetime.date
        Day of opening, day 0 of the open life.
    open_life_days : int
        Days it stays usable after the day of opening.

    Raises
    ------
    ValueError
        If the open life is negative.
    """
    if open_life_days < 0:
        raise ValueError(f"open_life_days is {open_life_days} d; it must be 0 or more")
    return opened_on + timedelta(days=open_life_days)


def usable_until(
    *,
    label_until: date | None = None,
    made_on: date | None = None,
    shelf_life_months: int | None = None,
    shelf_life_days: int | None = None,
    retested_until: date | None = None,
    opened_on: date | None = None,
    open_life_days: int | None = None,
    storage_until: date | None = None,
) -> UsableUntil:
    """
    Find the first clock to run out of those that run.

    Parameters
    ----------
    label_until : datetime.date, optional
        Expiry (or earlier best-before) printed by the maker.
    made_on : datetime.date, optional
        Day the shelf life counts from; without it the shelf life does not run.
    shelf_life_months, shelf_life_days : int, optional
        Shelf life unopened.
    retested_until : datetime.date, optional
        Day to which a retest extended the lot. It replaces label and shelf life; it can't stop
        the open life.
    opened_on : datetime.date, optional
        Day of opening; without it the open life does not run.
    open_life_days : int, optional
        Days usable after the day of opening.
    storage_until : datetime.date, optional
        Day from `shifted_until`, where the store was warmer than the shelf life allows.

    Returns
    -------
    UsableUntil
        Earliest day with the name of its clock (``label``, ``shelf life``, ``retest``,
        ``open life`` or ``storage``) and all clocks, earliest first.

    Notes
    -----
    Of a label and a computed date the stricter holds and is named.
    """
    clocks: list[Clock] = []
    if retested_until is not None:
        clocks.append(Clock("retest", retested_until))
    else:
        if label_until is not None:
            clocks.append(Clock("label", label_until))
        if made_on is not None and (shelf_life_months or shelf_life_days):
            shelf = sealed_until(made_on, months=shelf_life_months or 0, days=shelf_life_days or 0)
            clocks.append(Clock("shelf life", shelf))
    if opened_on is not None and open_life_days is not None:
        clocks.append(Clock("open life", open_until(opened_on, open_life_days)))
    if storage_until is not None:
        clocks.append(Clock("storage", storage_until))
    clocks.sort(key=lambda clock: clock.until)
    if not clocks:
        return UsableUntil(None, None, ())
    return UsableUntil(clocks[0].until, clocks[0].name, tuple(clocks))


def shelf_days_used(
    history: Iterable[tuple[float, float]], *, reference_c: float, q10: float = 2.0
) -> float:
    r"""
    Return how many days of shelf life a storage history used up.

    Parameters
    ----------
    history : iterable of (float, float)
        Pairs of days and mean temperature, degrees C.
    reference_c : float
        Temperature the shelf life is stated for, degrees C.
    q10 : float, default 2.0
        Factor by which ageing quickens for 10 K more. The default is an assumption, to be
        replaced by the maker's figure.

    Returns
    -------
    float
        Days of shelf life used. A store colder than the reference never counts below its real
        days: cold may crystallise a resin, and no datasheet lengthens its shelf life unasked.

    Raises
    ------
    ValueError
        If a number of days is negative or `q10` is below 1.

    Notes
    -----
    :math:`t_{used} = \sum t_i \max(1, q_{10}^{(T_i - T_{ref})/10})`, the ten-degree rule of
    ASTM F1980 [1]_ with its usual conservative factor 2.

    References
    ----------
    .. [1] ASTM F1980, accelerated ageing factor. Basis: from memory, standard not opened.

    Examples
    --------
    >>> shelf_days_used([(10, 20), (5, 30)], reference_c=20)
    20.0
    """
    if q10 < 1:
        raise ValueError(f"q10 is {q10}; it must be 1 or more")
    used = 0.0
    for days, temperature_c in history:
        if days < 0:
            raise ValueError(f"days in store is {days} d; it must be 0 or more")
        used += days * max(1.0, q10 ** ((temperature_c - reference_c) / 10.0))
    return used


def shifted_until(
    until: date, history: Iterable[tuple[float, float]], *, reference_c: float, q10: float = 2.0
) -> date:
    """
    Return an expiry brought forward by warm storage.

    Parameters
    ----------
    until : datetime.date
        Last usable day when stored as the datasheet asks.
    history : iterable of (float, float)
        Pairs of days and mean temperature, degrees C; only what was recorded.
    reference_c, q10 : float
        As in `shelf_days_used`; the factor is an assumption.

    Returns
    -------
    datetime.date
        The earlier last day, rounded down to a whole day; never later than `until`.
    """
    spells = list(history)
    lost = shelf_days_used(spells, reference_c=reference_c, q10=q10) - sum(d for d, _ in spells)
    return until - timedelta(days=math.ceil(lost))
