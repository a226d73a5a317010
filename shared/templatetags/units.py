"""
How figures look on pages, and the guide to the parts that pages are built from.

Figures (``{% load units %}``; an empty value prints as an en dash)::

    {{ kg|mass }}            12.350 kg        {{ kg|grams }}        12 350 g
    {{ kg|mass:4 }}          12.3500 kg       {{ x|quantity:"L" }}  3.200 L
    {{ min|minutes }}        1 h 35 min       {{ t|clock }}         06:45 (site time)
    {{ t|moment }}           Thu 26 Nov 06:45 {{ day|day }}         Thu 26 Nov 2026
    {{ c|celsius }}          21.5 °C          {{ mm|mm }}           60.0 mm
    {{ x|percent }}          12.5 %           {{ x|number:2 }}      3.14

Pages extend ``base.html`` with blocks title, head (more ``<link>``), headline (inside ``<h1>``),
actions (buttons beside it), content, scripts. Sheets for paper extend ``print.html``.

Parts (``{% load parts %}``)::

    {% state lot.status lot.get_status_display %}      word with sign; never colour alone
    {% cautions codes signal_word sds %}               from hazard codes, with where to look
    {% qr "https://host/batches/7/" "Batch 7" %}       inline SVG with a text for readers
    {% include "parts/figure.html" with label="On hand" value=kg|mass note="3 lots" %}
          inside <dl class="figures">…</dl>
    {% include "parts/form.html" with form=form button="Receive" %}   fields, errors, CSRF token
    {% include "parts/field.html" with field=form.kg %}               one field of an own form
    {% include "parts/problem.html" with problem=error %}             a ShopError in words
    {% include "parts/pages.html" with page=page %}                   a paginator's page

Tables: ``<div class="tableframe" tabindex="0" role="region" aria-label="…"><table><caption>…``;
numbers in ``class="num"``, a row that wants eyes ``row--now`` or ``row--stop``. Also: ``card``
(``card--now/mind/stop``), ``note`` (``note--good/mind/stop``), ``facts`` (dl), ``two``/``three``
(columns), ``filter`` (a GET form), ``clockwork`` (list by the clock), ``empty``, ``button``
(``button--plain/stop/big``), ``picture`` (figure round an SVG). No ``style=""`` and no inline
script: the page's policy refuses both; SVG takes positions in attributes.
"""

from __future__ import annotations

import datetime as dt
from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation
from typing import Any
from zoneinfo import ZoneInfo

from django import template
from django.utils import timezone

from shared.wall_clock import clock_words

register = template.Library()

NOTHING = "–"
NARROW = "\N{NARROW NO-BREAK SPACE}"
HARD = "\N{NO-BREAK SPACE}"
DECIMALS = {"kg": 3, "L": 3, "m": 2, "m2": 2, "pc": 0}
SYMBOLS = {"m2": "m²", "pc": "pieces"}
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def _decimal(value: Any) -> Decimal | None:
    """Read a number; floats by their shortest text, so that 0.1 stays 0.1."""
    if value is None or value == "" or isinstance(value, bool):
        return None
    try:
        found = value if isinstance(value, Decimal) else Decimal(str(value))
    except InvalidOperation:
        return None
    return found if found.is_finite() else None


def figure(value: Any, decimals: int) -> str:
    """Write a number with so many decimals and thousands set apart; an en dash for none."""
    found = _decimal(value)
    if found is None:
        return NOTHING
    rounded = found.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_EVEN)
    if rounded == 0:
        rounded = abs(rounded)
    return f"{rounded:,f}".replace(",", NARROW).replace("-", "−")


def _with_unit(value: Any, decimals: int, unit: str) -> str:
    text = figure(value, decimals)
    return text if text == NOTHING else f"{text}{HARD}{unit}"


@register.filter
def number(value: Any, decimals: int = 2) -> str:
    """Show a bare number."""
    return figure(value, int(decimals))


@register.filter
def mass(kg: Any, decimals: int = 3) -> str:
    """Show kilograms."""
    return _with_unit(kg, int(decimals), "kg")


@register.filter
def grams(kg: Any, decimals: int = 0) -> str:
    """Show kilograms as grams."""
    found = _decimal(kg)
    return NOTHING if found is None else _with_unit(found * 1000, int(decimals), "g")


@register.filter
def quantity(value: Any, unit: str) -> str:
    """Show a stock quantity in the unit its material is counted in."""
    return _with_unit(value, DECIMALS.get(unit, 3), SYMBOLS.get(unit, unit))


@register.filter
def celsius(value: Any, decimals: int = 1) -> str:
    """Show a temperature."""
    return _with_unit(value, int(decimals), "°C")


@register.filter
def mm(value: Any, decimals: int = 1) -> str:
    """Show millimetres."""
    return _with_unit(value, int(decimals), "mm")


@register.filter
def percent(value: Any, decimals: int = 1) -> str:
    """Show a share given in percent."""
    return _with_unit(value, int(decimals), "%")


@register.filter
def minutes(value: Any) -> str:
    """Show minutes as days, hours and minutes; a timedelta is taken too."""
    if isinstance(value, dt.timedelta):
        value = value.total_seconds() / 60
    found = _decimal(value)
    if found is None:
        return NOTHING
    whole = int(found.quantize(Decimal(1), rounding=ROUND_HALF_EVEN))
    days, rest = divmod(abs(whole), 1440)
    hours, left = divmod(rest, 60)
    parts = [f"{n}{HARD}{unit}" for n, unit in ((days, "d"), (hours, "h"), (left, "min")) if n]
    return ("−" if whole < 0 else "") + (" ".join(parts) or f"0{HARD}min")


def local(moment: dt.datetime, zone: Any = None) -> dt.datetime:
    """Return the moment in the site's time: the zone given, else the one active for the page."""
    if timezone.is_naive(moment):
        return moment
    return timezone.localtime(moment, ZoneInfo(str(zone)) if zone else None)


@register.filter
def clock(value: Any, zone: Any = None) -> str:
    """Show the clock time at the site."""
    return clock_words(local(value, zone)) if isinstance(value, dt.datetime) else NOTHING


def short_day(value: dt.date) -> str:
    """Write weekday, day and month."""
    return f"{WEEKDAYS[value.weekday()]} {value.day} {MONTHS[value.month - 1]}"


@register.filter
def moment(value: Any, zone: Any = None) -> str:
    """Show weekday, day and clock; the year only when it is not this one."""
    if not isinstance(value, dt.datetime):
        return NOTHING
    here = local(value, zone)
    year = "" if here.year == local(timezone.now(), zone).year else f" {here.year}"
    return f"{short_day(here)}{year} {clock_words(here)}"


@register.filter
def day(value: Any, zone: Any = None) -> str:
    """Show a day with its year."""
    if isinstance(value, dt.datetime):
        value = local(value, zone).date()
    return f"{short_day(value)} {value.year}" if isinstance(value, dt.date) else NOTHING


@register.filter
def stamp(value: Any) -> str:
    """Write a moment for ``<time datetime>`` and scripts: RFC 3339."""
    return value.isoformat(timespec="seconds") if isinstance(value, dt.datetime) else ""
