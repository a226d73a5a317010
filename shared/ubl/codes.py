"""
Codes of units and currencies at the border of documents.

Units are of UN/ECE Recommendation 20, rev. 11e, as `fixtures/ubl/unit_codes.csv` has them; MTR
(metre) and TNE (tonne) are from memory. Currencies are those in use of ISO 4217, from memory.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Final

from shared.units import UnknownUnit, convert

HOUSE: Final = {"kg": "KGM", "L": "LTR", "m": "MTR", "m2": "MTK", "pc": "H87"}
"""The unit a material is counted in, to the code it is written with."""

READ: Final = {
    "KGM": "kg", "GRM": "g", "TNE": "t", "LTR": "l", "MLT": "ml", "CMQ": "cm3", "DMQ": "l",
    "MTR": "m", "MMT": "mm", "MTK": "m2", "H87": "pc", "C62": "pc", "EA": "pc",
}  # fmt: skip
"""Codes that are read as quantities of goods, to the names `shared.units` knows."""

UCUM: Final = {
    "kg": "KGM", "g": "GRM", "L": "LTR", "mL": "MLT", "cm3": "CMQ", "dm3": "DMQ", "mm": "MMT",
    "m2": "MTK", "min": "MIN", "h": "HUR", "d": "DAY", "Cel": "CEL", "g/cm3": "23",
    "mPa.s": "C24", "MPa": "MPA", "%": "P1", "1": "C62", "{piece}": "H87", "{each}": "EA",
    "{kit}": "KT", "{drum}": "XDR", "{box}": "XBX",
}  # fmt: skip
"""Units as UCUM writes them, to Recommendation 20."""

NAMES: Final = {
    "KGM": "kilogram", "GRM": "gram", "TNE": "tonne", "LTR": "litre", "MLT": "millilitre",
    "CMQ": "cubic centimetre", "DMQ": "cubic decimetre", "MTR": "metre", "MMT": "millimetre",
    "MTK": "square metre", "MIN": "minute [unit of time]", "HUR": "hour", "DAY": "day",
    "CEL": "degree Celsius", "23": "gram per cubic centimetre", "C24": "millipascal second",
    "MPA": "megapascal", "P1": "percent", "C62": "one", "H87": "piece", "EA": "each",
    "KT": "kit", "XDR": "Drum", "XBX": "Box",
}  # fmt: skip
"""Every code that is known here, with its name in the recommendation."""

_IN_USE = (
    "AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BGN BHD BIF BMD BND BOB BRL BSD BTN BWP BYN "
    "BZD CAD CDF CHF CLP CNY COP CRC CUP CVE CZK DJF DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL "
    "GHS GIP GMD GNF GTQ GYD HKD HNL HTG HUF IDR ILS INR IQD IRR ISK JMD JOD JPY KES KGS KHR KMF "
    "KPW KRW KWD KYD KZT LAK LBP LKR LRD LSL LYD MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN "
    "MYR MZN NAD NGN NIO NOK NPR NZD OMR PAB PEN PGK PHP PKR PLN PYG QAR RON RSD RUB RWF SAR SBD "
    "SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TND TOP TRY TTD TWD TZS UAH "
    "UGX USD UYU UZS VED VES VND VUV WST XAF XCD XOF XPF YER ZAR ZMW ZWG"
)
CURRENCIES: Final = frozenset(_IN_USE.split())


def in_unit(value: Decimal, code: str, unit: str) -> Decimal | None:
    """Return a quantity in a house unit, such as 2500 GRM in kg; None where of another kind."""
    given, wanted = READ.get(code), READ[HOUSE[unit]]
    if given is None:
        return None
    if given == wanted:
        return value
    try:
        return convert(value, given, wanted)
    except UnknownUnit:
        return None
