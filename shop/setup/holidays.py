"""Public holidays of a country, as the library `holidays` knows them."""

from __future__ import annotations

import re
from datetime import date

from django.db import transaction

from shared.access.models import Site
from shared.errors import Invalid
from shop.registers import enter
from shop.sites.models import ClosedDay

YEARS_AHEAD = 3
"""Governments move holidays: what lies further ahead is not offered."""


def countries() -> list[tuple[str, str]]:
    """Return two-letter codes (ISO 3166-1) and names of the countries that are known, by name."""
    from holidays.registry import COUNTRIES

    found = [(codes[0], _spaced(name)) for name, *codes in COUNTRIES.values()]
    return sorted(((code, name) for code, name in found if len(code) == 2), key=lambda x: x[1])


def regions(country: str) -> list[str]:
    """Return the codes of a country's parts that have holidays of their own (ISO 3166-2)."""
    import holidays

    return list(holidays.list_supported_countries(include_aliases=False).get(country, []))


def public(country: str, region: str, year: int, today: date) -> list[tuple[date, str]]:
    """
    Return the public holidays of a year, in their order.

    Raises
    ------
    Invalid
        The country or region is not known, or the year is not this one or one of the next.
    """
    import holidays

    if country not in dict(countries()):
        raise Invalid.one("country", "unknown", f"Country is {country[:20]!r}; choose one listed.")
    known = regions(country)
    if region and region not in known:
        words = f"Region is {region[:20]!r}; known are {', '.join(known) or 'none'}, or leave it."
        raise Invalid.one("region", "unknown", words)
    if not today.year <= year <= today.year + YEARS_AHEAD:
        words = f"Year is {year}; it must be {today.year} to {today.year + YEARS_AHEAD}."
        raise Invalid.one("year", "out_of_range", words, value=year, limit=today.year)
    # Without a language the library takes the server's, and the pages are in English.
    spoken = holidays.list_localized_countries(include_aliases=False).get(country, [])
    language = next((one for one in sorted(spoken, reverse=True) if one.startswith("en")), None)
    found = holidays.country_holidays(
        country, subdiv=region or None, years=year, language=language
    )
    return sorted((day, str(name)) for day, name in found.items() if day.year == year)


@transaction.atomic
def close(site: Site, days: list[tuple[date, str]]) -> int:
    """Close the shop on days; those closed already stay as they are. Return how many are new."""
    there = set(
        ClosedDay.objects.filter(site=site, day__in=[day for day, _ in days]).values_list(
            "day", flat=True
        )
    )
    new = [(day, name) for day, name in days if day not in there]
    for day, name in new:
        enter(ClosedDay, site=site, day=day, reason=name[:200])
    return len(new)


def _spaced(name: str) -> str:
    return re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
