"""Reading JSON strictly: nothing that two readers could understand in two ways."""

from __future__ import annotations

import json
import re
from decimal import Decimal, InvalidOperation
from typing import Any

from rest_framework.exceptions import APIException, ParseError
from rest_framework.parsers import BaseParser

MOST_BYTES = 1_000_000
DEEPEST = 20
MOST_DIGITS = 30
MOST_MEMBERS = 200
"""Members of one object; the largest form has fewer than sixty."""
_SURROGATE = re.compile("[\ud800-\udfff]")


class TooLarge(APIException):
    """More bytes than are read at once."""

    status_code = 413
    default_code = "too_large"
    default_detail = f"The body may have at most {MOST_BYTES} bytes; send it in parts."


def _number(text: str) -> Decimal:
    digits = sum(character.isdigit() for character in text)
    try:
        value = Decimal(text)
    except InvalidOperation:
        raise ParseError(f"{text[:40]} is not a number.") from None
    if digits > MOST_DIGITS or "e" in text.lower():
        raise ParseError(
            f"The number {text[:40]} has an exponent or more than {MOST_DIGITS} digits; write it "
            "out, or send it as text."
        )
    return value


def _whole(text: str) -> int:
    if len(text) > MOST_DIGITS:
        raise ParseError(f"The number {text[:40]}… has more than {MOST_DIGITS} digits.")
    return int(text)


def _constant(text: str) -> Any:
    raise ParseError(f"{text} is not a number that JSON knows.")


def _pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    if len(pairs) > MOST_MEMBERS:
        raise ParseError(
            f"An object of the body has {len(pairs)} members; at most {MOST_MEMBERS} are read."
        )
    found: dict[str, Any] = {}
    for name, value in pairs:
        if name in found:
            raise ParseError(f"The member {name[:80]!r} stands twice in one object.")
        found[name] = value
    return found


def _check_depth(text: str) -> None:
    """Count brackets outside strings before reading, since reading is recursive."""
    depth = deepest = 0
    for mark in re.findall(r'"(?:[^"\\]|\\.)*"|[\[\]{}]', text, re.DOTALL):
        if mark in "[{":
            depth += 1
            deepest = max(deepest, depth)
        elif mark in "]}":
            depth -= 1
    if deepest > DEEPEST:
        raise ParseError(f"The body is {deepest} levels deep; at most {DEEPEST} are read.")


def _check_text(value: Any) -> None:
    if isinstance(value, str):
        if _SURROGATE.search(value):
            raise ParseError("A text holds half of a surrogate pair, which is not a character.")
        if "\0" in value:
            raise ParseError("A text holds a NUL character.")
    elif isinstance(value, dict):
        for name, member in value.items():
            _check_text(name)
            _check_text(member)
    elif isinstance(value, list):
        for member in value:
            _check_text(member)


def read_json(raw: bytes) -> Any:
    """
    Return the value of a JSON text; numbers with a fraction come as exact decimals.

    Raises
    ------
    ParseError
        Not UTF-8, not JSON, a member twice, NaN, an exponent, too deep, too many digits.
    TooLarge
        More than `MOST_BYTES` bytes.
    """
    if len(raw) > MOST_BYTES:
        raise TooLarge
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise ParseError(f"Byte {error.start} of the body is not UTF-8.") from None
    _check_depth(text)
    try:
        value = json.loads(
            text,
            parse_float=_number,
            parse_int=_whole,
            parse_constant=_constant,
            object_pairs_hook=_pairs,
        )
    except json.JSONDecodeError as error:
        raise ParseError(
            f"The body is not JSON: {error.msg} at line {error.lineno}, column {error.colno}."
        ) from None
    _check_text(value)
    return value


class StrictJson(BaseParser):
    """`application/json`."""

    media_type = "application/json"

    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Any:
        """Read at most the allowed bytes and return the value."""
        return read_json(stream.read(MOST_BYTES + 1))


class MergePatch(StrictJson):
    """`application/merge-patch+json`, RFC 7396: what is named changes, null clears."""

    media_type = "application/merge-patch+json"
