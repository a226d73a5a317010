"""The year ahead by month: what pages, files and the API say of every material."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from shared import clock
from shared.access.models import Site
from shop.materials.models import Material
from shop.outlook import table
from shop.outlook.queries import stock

YEAR_DAYS = 365


@dataclass(frozen=True)
class Month:
    """A material's month, in its unit; the first and last may be cut by the horizon."""

    first: date
    in_date: Decimal
    receipts: Decimal
    reserved: Decimal
    planned: Decimal
    expired: Decimal
    projected: Decimal
    lowest: Decimal
    """The least projected on any day; below zero, pours are short."""

    @property
    def short(self) -> bool:
        """Whether a pour is short on some day."""
        return self.lowest < 0


@dataclass(frozen=True)
class Year:
    """One material's months."""

    material: Material
    months: tuple[Month, ...]


def years(site: Site, *, days: int = YEAR_DAYS) -> tuple[Year, ...]:
    """Return the months of every material that has stock, needs or receipts, by code."""
    daily, start, materials = _netted(site, days)
    if not materials:
        return ()
    found: dict[int, list[Month]] = {}
    for row in table.by_month(daily, start).itertuples():
        pk, first = row[0]
        found.setdefault(pk, []).append(Month(first, *map(table.units, row[1:])))
    return tuple(Year(one, tuple(found[one.pk])) for one in materials)


def every_day(site: Site, *, days: int = YEAR_DAYS) -> Iterator[list[Any]]:
    """Return one line for each day of each material, as `forms.ALL_DAYS` names them."""
    daily, start, materials = _netted(site, days)
    for one in materials:
        for row in daily.loc[one.pk].itertuples():
            day = start + timedelta(days=row[0])
            yield [one.code, one.unit, day, *map(table.units, row[1:])]


def month_cells(year: Year) -> Iterator[list[Any]]:
    """Return one line a month, as `forms.MONTHS` names them."""
    for m in year.months:
        figures = [m.in_date, m.receipts, m.reserved, m.planned, m.expired, m.projected, m.lowest]
        yield [year.material.code, year.material.unit, m.first, *figures]


@dataclass(frozen=True)
class Expiry:
    """What of a material will pass its last usable day unused in a month."""

    first: date
    material: Material
    quantity: Decimal


def expiries(site: Site, *, days: int = YEAR_DAYS) -> tuple[Expiry, ...]:
    """Return what will expire unused over the horizon, by month and then material."""
    found = [
        Expiry(month.first, year.material, month.expired)
        for year in years(site, days=days)
        for month in year.months
        if month.expired
    ]
    return tuple(sorted(found, key=lambda one: one.first))


def _netted(site: Site, days: int) -> tuple[Any, date, list[Material]]:
    today = clock.today(site)
    found = stock(site, today)
    if not found:
        return None, today, []
    materials = Material.objects.filter(pk__in=found).order_by("code")
    return table.net(found, start=today, days=days), today, list(materials)
