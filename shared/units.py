"""
Units by the endings of names, conversion, rounding to a scale's division, durations, ISO weeks.

Pure. Factors are exact by definition where marked so: the inch is 25.4 mm, the avoirdupois pound
0.45359237 kg, the US gallon 231 cubic inches (NIST Handbook 44, appendix C; NIST SP 811, B.8).
"""

from __future__ import annotations

import re
from datetime import date, timedelta
from decimal import ROUND_HALF_EVEN, Decimal, localcontext
from typing import Final

_POUND_KG: Final = Decimal("0.45359237")
_INCH_MM: Final = Decimal("25.4")
_GALLON_L: Final = Decimal("3.785411784")

FACTORS: Final[dict[str, tuple[str, Decimal]]] = {
    "kg": ("mass", Decimal(1)),
    "g": ("mass", Decimal("0.001")),
    "mg": ("mass", Decimal("0.000001")),
    "t": ("mass", Decimal(1000)),
    "lb": ("mass", _POUND_KG),
    "oz": ("mass", _POUND_KG / 16),
    "mm": ("length", Decimal(1)),
    "um": ("length", Decimal("0.001")),
    "cm": ("length", Decimal(10)),
    "m": ("length", Decimal(1000)),
    "in": ("length", _INCH_MM),
    "ft": ("length", _INCH_MM * 12),
    "l": ("volume", Decimal(1)),
    "ml": ("volume", Decimal("0.001")),
    "cm3": ("volume", Decimal("0.001")),
    "m3": ("volume", Decimal(1000)),
    "mm3": ("volume", Decimal("0.000001")),
    "gal_us": ("volume", _GALLON_L),
    "qt_us": ("volume", _GALLON_L / 4),
    "fl_oz_us": ("volume", _GALLON_L / 128),
    "m2": ("area", Decimal(1)),
    "cm2": ("area", Decimal("0.0001")),
    "mm2": ("area", Decimal("0.000001")),
    "min": ("time", Decimal(1)),
    "s": ("time", Decimal(1) / 60),
    "h": ("time", Decimal(60)),
    "d": ("time", Decimal(1440)),
}
"""Unit to its kind and its size in the first unit of that kind (kg, mm, L, m2, min)."""

TEMPERATURES: Final = ("c", "k", "f")

SUFFIXES: Final[dict[str, str]] = {
    "kg_per_l": "kg/L",
    "kg_l": "kg/L",
    "kg_min": "kg/min",
    "kj_mol": "kJ/mol",
    "k_h": "K/h",
    "kg_m3": "kg/m³",
    "min_per_m2": "min/m²",
    "per_m2": "per m²",
    "mpa_s": "mPa·s",
    "j_g": "J/g",
    "w_mk": "W/(m·K)",
    "g": "g",
    "kg": "kg",
    "l": "L",
    "ml": "mL",
    "mm": "mm",
    "m2": "m²",
    "min": "min",
    "hours": "h",
    "h": "h",
    "s": "s",
    "days": "d",
    "months": "months",
    "c": "°C",
    "k": "K",
    "deg": "°",
    "percent": "%",
}
"""Ending of a name to the unit as people write it; longest endings first."""

_DURATION = re.compile(
    r"P(?:(?P<d>\d{1,6})D)?(?:T(?=\d)(?:(?P<h>\d{1,6})H)?(?:(?P<m>\d{1,6})M)?"
    r"(?:(?P<s>\d{1,9}(?:[.,]\d{1,6})?)S)?)?"
)
_TYPED = re.compile(
    r"(?P<figure>[+-]?[0-9]{1,12}(?:[.,][0-9]{1,8})?)\s*(?P<unit>[^0-9\s.,]\S{0,9}|)"
)
_SPOKEN = {"°c": "c", "°f": "f", "lbs": "lb", '"': "in"}
_WEEK = re.compile(r"(\d{4})-W(\d{2})")


class UnknownUnit(ValueError):
    """A unit that the shop does not use, or two units of different kinds."""


def unit_of_name(name: str) -> str | None:
    """
    Return the unit a field's name ends in, as people write it.

    Examples
    --------
    >>> unit_of_name("quantity_kg"), unit_of_name("density_kg_per_l"), unit_of_name("name")
    ('kg', 'kg/L', None)
    """
    for ending, unit in SUFFIXES.items():
        if name.endswith(f"_{ending}"):
            return unit
    return None


def convert(value: Decimal, given: str, wanted: str) -> Decimal:
    """
    Return a quantity in another unit of the same kind.

    Parameters
    ----------
    value : Decimal
        How much.
    given, wanted : str
        Names of units: the keys of `FACTORS`, or c, k, f for temperatures.

    Returns
    -------
    Decimal
        The value in `wanted`, to 28 digits.

    Raises
    ------
    UnknownUnit
        If a unit is not known, or the two are of different kinds.
    ValueError
        If a temperature lies below absolute zero.

    Notes
    -----
    Temperatures by NIST SP 811, B.8: K = °C + 273.15, °C = (°F − 32) / 1.8.

    Examples
    --------
    >>> convert(Decimal(10), "lb", "kg"), convert(Decimal(68), "f", "c")
    (Decimal('4.5359237'), Decimal('20'))
    """
    if given in TEMPERATURES and wanted in TEMPERATURES:
        return _temperature(value, given, wanted)
    for unit in (given, wanted):
        if unit not in FACTORS and unit not in TEMPERATURES:
            raise UnknownUnit(
                f"{unit!r} is not a unit here; use one of {', '.join([*FACTORS, *TEMPERATURES])}."
            )
    kind = FACTORS[given][0] if given in FACTORS else "temperature"
    other = FACTORS[wanted][0] if wanted in FACTORS else "temperature"
    if kind != other:
        raise UnknownUnit(f"{given} is a unit of {kind}, {wanted} one of {other}.")
    with localcontext() as context:
        context.prec = 34
        found = value * FACTORS[given][1] / FACTORS[wanted][1]
    return _trim(+found)


def read_quantity(text: str, wanted: str) -> Decimal:
    """
    Return a typed figure in the unit wanted; it may carry a unit of its own of the same kind.

    Parameters
    ----------
    text : str
        A figure, a comma counting as a point, with or without a unit after it.
    wanted : str
        A unit of `convert`.

    Returns
    -------
    Decimal
        To 28 digits; the caller rounds it to what it keeps.

    Raises
    ------
    UnknownUnit
        If the unit typed is not known, or is of another kind.
    ValueError
        If there is no figure, or a temperature lies below absolute zero.

    Examples
    --------
    >>> read_quantity("77 °F", "c"), read_quantity("0,5 lb", "kg"), read_quantity("12", "mm")
    (Decimal('25'), Decimal('0.226796185'), Decimal('12'))
    """
    found = _TYPED.fullmatch(text.strip())
    if found is None:
        raise ValueError(f"{text!r} is not a figure.")
    value, unit = Decimal(found["figure"].replace(",", ".")), found["unit"].lower()
    return convert(value, _SPOKEN.get(unit, unit), wanted) if unit else value


def _temperature(value: Decimal, given: str, wanted: str) -> Decimal:
    celsius = {
        "c": value,
        "k": value - Decimal("273.15"),
        "f": (value - 32) / Decimal("1.8"),
    }[given]
    if celsius < Decimal("-273.15"):
        raise ValueError(f"{value} {given} lies below absolute zero, -273.15 °C.")
    return _trim(
        {
            "c": celsius,
            "k": celsius + Decimal("273.15"),
            "f": celsius * Decimal("1.8") + 32,
        }[wanted]
    )


def _trim(value: Decimal) -> Decimal:
    trimmed = value.normalize()
    return trimmed if trimmed.as_tuple().exponent <= 0 else trimmed.quantize(Decimal(1))  # type: ignore[operator]


def round_to_division(value: Decimal, division: Decimal) -> Decimal:
    """
    Return the nearest reading a scale can show; halves go to the even division.

    Raises
    ------
    ValueError
        If the division is not above 0.

    Examples
    --------
    >>> round_to_division(Decimal("12.37"), Decimal("0.05"))
    Decimal('12.35')
    """
    if not division > 0:
        raise ValueError(f"The scale division is {division}; it must be above 0.")
    steps = (value / division).quantize(Decimal(1), rounding=ROUND_HALF_EVEN)
    return steps * division


def parse_duration(text: str) -> timedelta:
    """
    Return an ISO 8601 duration of days, hours, minutes and seconds.

    Years and months have no fixed length and are refused; so are gaps such as PT1H1S (RFC 5545,
    3.3.6) and negative durations.

    Examples
    --------
    >>> parse_duration("P1DT12H")
    datetime.timedelta(days=1, seconds=43200)
    """
    found = _DURATION.fullmatch(text) if text.isascii() else None
    parts = found.groupdict() if found else {}
    gap = parts.get("h") and parts.get("s") and not parts.get("m")
    if not any(parts.values()) or gap:
        raise ValueError(f"{text[:40]!r} is not a duration; write it as P1DT12H or PT90M.")
    return timedelta(
        days=int(parts["d"] or 0),
        hours=int(parts["h"] or 0),
        minutes=int(parts["m"] or 0),
        microseconds=int(Decimal((parts["s"] or "0").replace(",", ".")) * 1_000_000),
    )


def parse_week(text: str) -> date:
    """
    Return the Monday of an ISO week.

    Raises
    ------
    ValueError
        If the text is not a week, or the year has no such week: 2026 has a week 53, 2027 none.

    Examples
    --------
    >>> parse_week("2026-W49")
    datetime.date(2026, 11, 30)
    """
    found = _WEEK.fullmatch(text) if text.isascii() else None
    try:
        if found:
            return date.fromisocalendar(int(found[1]), int(found[2]), 1)
    except ValueError:
        pass
    raise ValueError(f"{text[:20]!r} is not an ISO week that exists; write it as 2026-W49.")


def week_of(day: date) -> str:
    """
    Return the ISO week of a day.

    Examples
    --------
    >>> week_of(date(2027, 1, 1))
    '2026-W53'
    """
    year, week, _ = day.isocalendar()
    return f"{year:04d}-W{week:02d}"
