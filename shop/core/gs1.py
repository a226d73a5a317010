"""
GS1 element strings and links: a thin, stricter layer over biip.

biip holds the table of application identifiers (AI) and the link grammar. Added here: reasons a
person can act on, check digits inside a message, the century and day rules for a day that is
given. A digital link is read as text and never fetched.

References
----------
GS1 Barcode Syntax Dictionary (lengths, character sets, pairings), Apache-2.0, read in a copy;
GS1 General Specifications, century and day 00 rules, as quoted by libraries, not opened itself.
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from biip.gs1_application_identifiers import GS1ApplicationIdentifier
    from biip.gs1_element_strings import GS1ElementStrings

FNC1 = "\x1d"
LONGEST_SCAN = 400
"""Longer than any label this reads; a GS1-128 holds 48 characters."""
_DATES = {"11", "12", "13", "15", "16", "17"}
_CHECKED = {"00", "01", "02", "03"}
_SET_82 = re.compile(r"[!%-?A-Z_a-z\"]*")


class Gs1Error(ValueError):
    """A barcode that can't be trusted; `code` for programs, the text for people."""

    def __init__(self, code: str, detail: str, ai: str | None = None) -> None:
        super().__init__(detail)
        self.code, self.ai = code, ai


@dataclass(frozen=True)
class Element:
    """One AI with its value as printed."""

    ai: str
    value: str


@dataclass(frozen=True)
class Gs1Date:
    """A date from a label; `day_given` is False where the label printed day 00."""

    day: date
    day_given: bool


@dataclass(frozen=True)
class Measure:
    """A net quantity with its implied decimal point set."""

    quantity: Decimal
    unit: str


def check_digit(payload: str) -> int:
    """
    Return the GS1 check digit of a payload without one.

    Raises
    ------
    Gs1Error
        If the payload is not made of the digits 0 to 9.
    """
    from biip.checksums import gs1_standard_check_digit

    if not re.fullmatch(r"[0-9]+", payload):
        raise Gs1Error("bad_character", f"{payload!r} must be made of the digits 0 to 9.")
    return gs1_standard_check_digit(payload)


def sound_gtin(text: str) -> bool:
    """Tell whether a text is an item number: 8, 12, 13 or 14 digits that check."""
    digits = text.isascii() and text.isdigit() and len(text) in (8, 12, 13, 14)
    return digits and check_digit_holds(text)


def check_digit_holds(digits: str) -> bool:
    """Tell whether the last of the digits is the check digit of the others."""
    return check_digit(digits[:-1]) == int(digits[-1])


def read_date(yymmdd: str, reference: date) -> Gs1Date:
    """
    Read a six-digit date.

    Parameters
    ----------
    yymmdd : str
        Six digits; day 00 means the last day of the month.
    reference : datetime.date
        Today. The year lies within 49 years before and 50 years after it.

    Raises
    ------
    Gs1Error
        With code ``month`` or ``day`` for a date that does not exist, ``bad_date`` for text.
    """
    if not re.fullmatch(r"[0-9]{6}", yymmdd):
        raise Gs1Error("bad_date", f"{yymmdd!r} is not a date; six digits YYMMDD are expected.")
    yy, month, day = int(yymmdd[:2]), int(yymmdd[2:4]), int(yymmdd[4:])
    year = reference.year - reference.year % 100 + yy
    year += 100 * (year < reference.year - 49) - 100 * (year > reference.year + 50)
    if not 1 <= month <= 12:
        raise Gs1Error("month", f"month {month:02} in {yymmdd} does not exist; 01 to 12 expected.")
    last = calendar.monthrange(year, month)[1]
    if day > last:
        raise Gs1Error("day", f"day {day:02} in {yymmdd} does not exist; the last is {last}.")
    return Gs1Date(date(year, month, day or last), day_given=day > 0)


def measure(ai: str, value: str) -> Measure:
    """
    Read a net mass (310n, kg) or volume (315n, L) with n decimals.

    Raises
    ------
    Gs1Error
        If the AI is another one or the value is not six digits.
    """
    unit = {"310": "kg", "315": "L"}.get(ai[:3])
    if unit is None or not re.fullmatch(r"31[05][0-5]", ai):
        raise Gs1Error("unknown_ai", f"AI ({ai}) is no net mass (310n) or volume (315n).", ai)
    if not re.fullmatch(r"[0-9]{6}", value):
        raise Gs1Error("bad_character", f"AI ({ai}) holds {value!r}; six digits expected.", ai)
    return Measure(Decimal(int(value)).scaleb(-int(ai[3])), unit)


def parse(scan: str, reference: date) -> tuple[Element, ...]:
    r"""
    Split a scan into its elements, refusing whatever breaks a rule.

    Parameters
    ----------
    scan : str
        Text as the scanner sends it: with or without a symbology identifier such as ``]d2``,
        FNC1 as U+001D, or a digital link.
    reference : datetime.date
        Today, for the century rule.

    Returns
    -------
    tuple of Element
        In the order printed; an EAN or ITF number comes back as a 14-digit (01).

    Raises
    ------
    Gs1Error
        ``empty``, ``too_long``, ``too_short``, ``bad_character``, ``bad_date``, ``check_digit``,
        ``unknown_ai``, ``repeated``, ``zero``, ``not_gs1``, ``scheme`` or ``bad_link``.

    Examples
    --------
    >>> [e.value for e in parse("]d210ABC123\x1d99TESTING", date(2026, 11, 25))]
    ['ABC123', 'TESTING']
    """
    if len(scan) > LONGEST_SCAN:
        raise Gs1Error(
            "too_long", f"the scan has {len(scan)} characters; at most {LONGEST_SCAN} are read."
        )
    kind, text = _symbology(scan.strip(" \r\n\t"))
    if not text.strip(FNC1):
        raise Gs1Error("empty", "the scan holds no data; scan the label again.")
    if re.match(r"[A-Za-z]+://", text):
        return parse_link(text, reference)
    if kind == "gtin":
        return (_gtin_element(text),)
    if kind == "plain":
        raise Gs1Error("not_gs1", "this is a plain code, not GS1 data; match it by supplier.")
    return _message(text.removeprefix(FNC1), reference)


def _symbology(scan: str) -> tuple[str, str]:
    from biip import ParseError
    from biip.symbology import GS1Symbology, SymbologyIdentifier

    if not scan.startswith("]"):
        return "message", scan
    try:
        found = SymbologyIdentifier.extract(scan)
    except (ParseError, IndexError) as error:
        raise Gs1Error("not_gs1", f"unknown symbology identifier {scan[:3]!r}.") from error
    text = scan[len(found) :]
    if found.gs1_symbology in GS1Symbology.with_gtin():
        return "gtin", text
    if found.gs1_symbology in GS1Symbology.with_gs1_messages():
        return "message", text
    return "plain", text


def _gtin_element(text: str) -> Element:
    if not re.fullmatch(r"[0-9]+", text):
        raise Gs1Error("bad_character", f"item number {text!r} must be digits only.", "01")
    if len(text) not in (8, 12, 13, 14):
        code = "too_long" if len(text) > 14 else "too_short"
        raise Gs1Error(code, f"item number {text} has {len(text)} digits; 8, 12, 13 or 14.", "01")
    element = Element("01", text.zfill(14))
    _check_number(element)
    return element


def _message(text: str, reference: date) -> tuple[Element, ...]:
    elements: list[Element] = []
    rest = text
    while rest:
        ai = _identifier(rest)
        chunk = rest.split(FNC1, 1)[0][len(ai.ai) :]
        least, most = _lengths(ai.format)
        value = chunk if ai.separator_required else chunk[:most]
        elements.append(_element(ai, value, least, most, reference))
        rest = rest[len(ai.ai) + len(value) :].lstrip(FNC1)
    return _without_repeats(elements)


def _identifier(text: str) -> GS1ApplicationIdentifier:
    from biip import ParseError
    from biip.gs1_application_identifiers import GS1ApplicationIdentifier

    try:
        return GS1ApplicationIdentifier.extract(text)
    except ParseError as error:
        raise Gs1Error(
            "unknown_ai", f"no application identifier begins {text[:4]!r}; is it a GS1 label?"
        ) from error


def _lengths(form: str) -> tuple[int, int]:
    """Return least and greatest length of a value from a form such as ``N2+X..20``."""
    least = most = 0
    for optional, body in re.findall(r"(\[)?\+?([NXYZ]\d*(?:\.\.[NXYZ]?\d+)?|-)\]?", form)[1:]:
        numbers = [int(n) for n in re.findall(r"\d+", body)] or [1]
        most += max(numbers)
        if not optional:
            least += 1 if ".." in body else numbers[0]
    return least, most


def _element(
    ai: GS1ApplicationIdentifier, value: str, least: int, most: int, reference: date
) -> Element:
    name = f"AI ({ai.ai}) {ai.data_title}"
    if len(value) < least:
        raise Gs1Error("too_short", f"{name} has {len(value)} characters; {least} needed.", ai.ai)
    if len(value) > most:
        raise Gs1Error(
            "too_long",
            f"{name} has {len(value)} characters; at most {most}. "
            "A separator may be missing: check that the scanner sends FNC1.",
            ai.ai,
        )
    if ai.ai in _DATES and re.fullmatch(r"[0-9]{6}", value):
        _check_date(Element(ai.ai, value), reference)
    if not _SET_82.fullmatch(value) or not re.fullmatch(ai.pattern, ai.ai + value, re.ASCII):
        raise Gs1Error("bad_character", f"{name} holds {value!r}, which is not allowed.", ai.ai)
    element = Element(ai.ai, value)
    _check_number(element)
    return element


def _check_number(element: Element) -> None:
    if element.ai not in _CHECKED:
        return
    if not int(element.value):
        raise Gs1Error("zero", f"AI ({element.ai}) is all zeros.", element.ai)
    if not check_digit_holds(element.value):
        raise Gs1Error(
            "check_digit",
            f"AI ({element.ai}) {element.value} ends in {element.value[-1]}; its check digit "
            f"is {check_digit(element.value[:-1])}. Scan again or read the label by eye.",
            element.ai,
        )


def _check_date(element: Element, reference: date) -> None:
    try:
        read_date(element.value, reference)
    except Gs1Error as error:
        raise Gs1Error("bad_date", f"AI ({element.ai}): {error}", element.ai) from error


def _without_repeats(elements: Iterable[Element]) -> tuple[Element, ...]:
    kept: dict[str, Element] = {}
    for element in elements:
        # 310n and 315n say the same thing with another decimal point: two of them contradict.
        key = element.ai[:3] if element.ai[:3] in ("310", "315") else element.ai
        if kept.setdefault(key, element) != element:
            raise Gs1Error("repeated", f"AI ({element.ai}) comes twice and differs.", element.ai)
    return tuple(kept.values())


def parse_link(uri: str, reference: date) -> tuple[Element, ...]:
    """
    Read a GS1 digital link as text; the address is never fetched.

    Parameters
    ----------
    uri : str
        Keys and qualifiers in the path, attributes in the query; other parameters are ignored.
    reference : datetime.date
        Today.

    Raises
    ------
    Gs1Error
        ``scheme`` unless it begins http:// or https://, ``bad_link``, or as for `parse`.
    """
    from biip import ParseConfig, ParseError
    from biip.gs1_digital_link_uris import GS1DigitalLinkURI

    if not re.match(r"(https?|HTTPS?)://", uri):
        scheme = uri.split(":", 1)[0]
        raise Gs1Error("scheme", f"scheme {scheme!r} is not http or https.")
    if not re.fullmatch(r"[!-~]+", uri) or "\\" in uri:
        raise Gs1Error("bad_character", "a link holds visible ASCII characters only.")
    try:
        config = ParseConfig(gs1_element_strings_verify_date=False)
        link = GS1DigitalLinkURI.parse(uri, config=config)
    except (ParseError, ValueError) as error:
        raise Gs1Error(
            "bad_link",
            "not a GS1 digital link that can be read; expected for example "
            "https://host/01/<14 digits>/10/<lot>?17=<YYMMDD>.",
        ) from error
    return _without_repeats(
        _element(e.ai, e.value, *_lengths(e.ai.format), reference) for e in link.element_strings
    )


def build(elements: Iterable[Element], reference: date) -> str:
    """
    Write elements as the data of a symbol, FNC1 (U+001D) only where one is needed.

    Raises
    ------
    Gs1Error
        As for `parse`, and ``bad_date`` for day 00, which is read but never printed.
    """
    from biip.gs1_messages import GS1Message

    return GS1Message.from_element_strings(_checked(elements, reference)).value


def build_link(stem: str, elements: Iterable[Element], reference: date) -> str:
    """
    Write elements as a digital link under `stem`, such as ``https://example.com``.

    Raises
    ------
    Gs1Error
        As for `build`; ``scheme`` or ``bad_link`` for a stem or set of keys that can't be used.
    """
    from biip.gs1_digital_link_uris import GS1DigitalLinkURI

    if not stem.startswith("https://"):
        raise Gs1Error("scheme", f"the stem {stem!r} must begin https://.")
    domain, _, prefix = stem.removeprefix("https://").strip("/").partition("/")
    strings = _checked(elements, reference)
    if not strings.get(ai="01"):
        raise Gs1Error("bad_link", "a link needs an item number, AI (01).")
    link = GS1DigitalLinkURI.from_element_strings(strings)
    return link.as_uri(domain=domain, prefix=prefix or None)


def _checked(elements: Iterable[Element], reference: date) -> GS1ElementStrings:
    from biip.gs1_element_strings import GS1ElementString, GS1ElementStrings

    strings = GS1ElementStrings()
    for element in elements:
        ai = _identifier(element.ai)
        if ai.ai != element.ai:
            raise Gs1Error("unknown_ai", f"AI ({element.ai}) is not known.", element.ai)
        _element(ai, element.value, *_lengths(ai.format), reference)
        if element.ai in _DATES and element.value.endswith("00"):
            raise Gs1Error("bad_date", f"AI ({element.ai}): day 00 is never printed.", element.ai)
        strings.append(GS1ElementString.parse(element.ai + element.value))
    return strings
