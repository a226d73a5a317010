"""Times that callers give: one bound for all."""

from datetime import UTC, datetime, timedelta

import pytest

from shared.errors import Invalid
from shared.times import OLDEST, SKEW, happened

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
HOUR, MINUTE = timedelta(hours=1), timedelta(minutes=1)


def test_a_time_up_to_now_is_taken_as_given():
    assert happened(None, now=NOW) == NOW
    assert happened(NOW - HOUR, now=NOW) == NOW - HOUR


def test_a_clock_a_little_fast_is_taken_as_now_and_never_as_later():
    assert happened(NOW + SKEW, now=NOW) == NOW


@pytest.mark.parametrize(
    ("given", "code"),
    [
        (NOW + SKEW + MINUTE, "in_future"),
        (NOW + 3 * 24 * HOUR, "in_future"),
        (NOW - OLDEST - MINUTE, "too_long_ago"),
        (datetime(1, 1, 2, tzinfo=UTC), "too_long_ago"),
        (datetime(9999, 12, 31, tzinfo=UTC), "in_future"),
    ],
)
def test_the_future_and_the_first_year_are_refused(given, code):
    with pytest.raises(Invalid) as refusal:
        happened(given, now=NOW, field="happened_at")
    (problem,) = refusal.value.problems
    assert (problem.pointer, problem.code) == ("#/happened_at", code)


def test_a_time_keeps_its_place_between_what_it_follows_and_what_follows_it():
    bounds = {
        "after": [("first contact", NOW - 3 * HOUR), ("nothing", None)],
        "before": [("demoulding", NOW - HOUR), ("nothing", None)],
    }
    assert happened(NOW - 2 * HOUR, now=NOW, **bounds) == NOW - 2 * HOUR
    assert happened(NOW - 3 * HOUR - SKEW, now=NOW, **bounds) == NOW - 3 * HOUR
    assert happened(NOW - HOUR + SKEW, now=NOW, **bounds) == NOW - HOUR
    with pytest.raises(Invalid, match="before first contact, 2026-11-25 09:00 UTC"):
        happened(NOW - 4 * HOUR, now=NOW, **bounds)
    with pytest.raises(Invalid, match="after demoulding, 2026-11-25 11:00 UTC"):
        happened(NOW, now=NOW, **bounds)
