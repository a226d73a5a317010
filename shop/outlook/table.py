"""
The days and months of many materials as one table, netted with pandas.

A year of 200 materials is 73,000 lines of seven figures; grouping and running totals over them
are what a table library is for. It is imported here, inside the functions, and used by the pages
and files that show all days; the summary and one material's page don't wait for it to load.
Quantities are whole steps of the ledger (0.0001 of the unit) in 64 bits, so sums are exact.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from shop.core.outlook import Supply, project
from shop.core.outlook import steps as millionths
from shop.outlook.queries import Stock

LEDGER_STEP = Decimal("0.0001")
_COARSER = 100
"""Millionths in one step of the ledger."""
_EVENTS = ("opening", "receipts", "reserved", "planned", "expired", "ends")
_SUMMED = ("receipts", "reserved", "planned")


def steps(quantity: float) -> int:
    """Return a quantity in whole steps of the ledger."""
    return round(millionths(quantity) / _COARSER)


def units(count: int) -> Decimal:
    """Return steps of the ledger as a quantity."""
    return Decimal(int(count)) * LEDGER_STEP


def net(stocks: Mapping[int, Stock], *, start: date, days: int) -> Any:
    """
    Net every material over a horizon, day by day.

    Parameters
    ----------
    stocks : mapping of int to Stock
        Supplies and uses by material.
    start : datetime.date
        First day.
    days : int
        Length of the horizon, days.

    Returns
    -------
    pandas.DataFrame, shape (materials * days, 6)
        Indexed by material and day (0 is `start`), sorted. Columns ``in_date``, ``receipts``,
        ``reserved``, ``planned``, ``expired``, ``projected``; int64 steps of 0.0001 of the unit,
        of the same meaning as in `shop.core.outlook.MaterialOutlook`.

    Notes
    -----
    Requirements and receipts are summed by day and cumulated. Where all stock is sealed, on hand
    and unreserved, what is lost by a day is the most by which the expiries so far ever ran ahead
    of the use so far; a material with anything else has its lots walked one by one.
    """
    import pandas as pd

    wide = _by_day(stocks, start, days)
    by = wide.groupby(level="material", sort=False)
    used = wide["reserved"] + wide["planned"]
    ahead = by["ends"].cumsum() - used.groupby(level="material").cumsum()
    lost = ahead.clip(lower=0).groupby(level="material").cummax()
    before = lost.groupby(level="material").shift(fill_value=0)
    walked = [pk for pk, stock in stocks.items() if not _plain(stock)]
    by_lot = wide.index.get_level_values("material").isin(walked)
    expired = wide["expired"].where(by_lot, lost - before)
    change = wide["opening"] + wide["receipts"] - used - expired
    projected = change.groupby(level="material").cumsum()
    opening = by["opening"].transform("sum")
    first = wide.index.get_level_values("day") == 0
    yesterday = projected.groupby(level="material").shift(fill_value=0).where(~first, opening)
    columns = {
        "in_date": yesterday.clip(lower=0),
        **{name: wide[name] for name in _SUMMED},
        "expired": expired,
        "projected": projected,
    }
    return pd.DataFrame(columns).astype("int64")


def _plain(stock: Stock) -> bool:
    """Tell whether first expired first out follows from running totals alone."""
    lasting = all(s.due_on is None or s.usable_until is None for s in stock.supplies)
    sealed = not any(s.opened for s in stock.supplies)
    return lasting and sealed and not any(u.reserved for u in stock.uses)


def _by_day(stocks: Mapping[int, Stock], start: date, days: int) -> Any:
    """Sum the events of each material by day, one column a kind, every day present."""
    import pandas as pd

    events = [
        (pk, *event) for pk, stock in stocks.items() for event in _events(stock, start, days)
    ]
    every = pd.MultiIndex.from_product([sorted(stocks), range(days)], names=["material", "day"])
    frame = pd.DataFrame(events, columns=["material", "day", "kind", "steps"])
    wide = frame.astype({"steps": "int64"}).pivot_table(
        index=["material", "day"], columns="kind", values="steps", aggfunc="sum", fill_value=0
    )
    return wide.reindex(index=every, columns=_EVENTS, fill_value=0)


def _events(stock: Stock, start: date, days: int) -> Iterable[tuple[int, str, int]]:
    """Return what happens to a material, as (day, column, steps)."""
    for supply in stock.supplies:
        yield from _supply_events(supply, start, days)
    for use in stock.uses:
        day = max(0, (use.day - start).days)
        if day < days:
            yield day, "reserved" if use.reserved else "planned", steps(use.quantity)
    if not _plain(stock):
        ahead = project(stock.supplies, stock.uses, start=start, days=days, rescue_days=0)
        yield from ((n, "expired", steps(q)) for n, q in enumerate(ahead.expired) if q)


def _supply_events(supply: Supply, start: date, days: int) -> Iterable[tuple[int, str, int]]:
    until, held = supply.usable_until, steps(supply.quantity)
    if supply.due_on is not None:
        day = max(0, (supply.due_on - start).days)
        arrives = start + timedelta(days=day)
        if day < days and (until is None or until >= arrives):
            yield day, "receipts", held
    elif until is None or until >= start:
        yield 0, "opening", held
        last = (until - start).days if until else days
        if last < days:
            yield last, "ends", held


def by_month(daily: Any, start: date) -> Any:
    """
    Sum a netted table by calendar month.

    Returns
    -------
    pandas.DataFrame
        Indexed by material and month (its first day). ``in_date`` is that of the first day,
        ``projected`` that of the last, ``lowest`` the least projected; the others are sums.
    """
    firsts = {
        n: (start + timedelta(days=n)).replace(day=1)
        for n in daily.index.get_level_values("day").unique()
    }
    month = daily.index.get_level_values("day").map(firsts).rename("month")
    grouped = daily.groupby([daily.index.get_level_values("material"), month])
    return grouped.agg(
        in_date=("in_date", "first"),
        receipts=("receipts", "sum"),
        reserved=("reserved", "sum"),
        planned=("planned", "sum"),
        expired=("expired", "sum"),
        projected=("projected", "last"),
        lowest=("projected", "min"),
    )
