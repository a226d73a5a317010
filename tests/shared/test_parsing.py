"""JSON that two readers could understand in two ways is refused, each with its reason."""

from decimal import Decimal

import pytest
from rest_framework.exceptions import ParseError

from shared.api.parsing import DEEPEST, MOST_BYTES, TooLarge, read_json


def test_numbers_with_a_fraction_stay_exact():
    assert read_json(b'{"quantity_kg": 0.1}') == {"quantity_kg": Decimal("0.1")}


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b'{"a": 1, "a": 2}', "stands twice"),
        (b'{"a": NaN}', "not a number that JSON knows"),
        (b'{"a": -Infinity}', "not a number that JSON knows"),
        (b'{"a": 1e999}', "exponent"),
        (b'{"a": 1E2}', "exponent"),
        (b'{"a": 0.' + b"1" * 40 + b"}", "more than 30 digits"),
        (b'{"a": ' + b"9" * 1000 + b"}", "more than 30 digits"),
        (b'{"a": "\\ud800"}', "surrogate"),
        (b'{"\\udc00": 1}', "surrogate"),
        (b'{"a": "\\u0000"}', "NUL"),
        (b'{"a": "\xff"}', "not UTF-8"),
        (b'{"a": 1,}', "not JSON"),
        (b"", "not JSON"),
        (b"[" * 21 + b"]" * 21, "21 levels deep"),
        (b'{"a":' * 100_000, "levels deep"),
    ],
)
def test_ambiguous_or_hostile_bodies_are_refused(body, words):
    with pytest.raises(ParseError, match=words):
        read_json(body)


def test_the_deepest_and_longest_allowed_are_read():
    assert read_json(b"[" * DEEPEST + b"]" * DEEPEST)
    longest = b'"' + b"a" * (MOST_BYTES - 2) + b'"'
    assert len(read_json(longest)) == MOST_BYTES - 2
    with pytest.raises(TooLarge):
        read_json(longest + b" ")


def test_brackets_inside_text_do_not_count_as_depth():
    assert read_json(b'"' + b"[" * 50 + b'\\"[["') == "[" * 50 + '"[['
