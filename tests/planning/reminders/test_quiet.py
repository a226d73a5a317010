"""Quiet hours end at the right moment, also on the nights the clock changes."""

from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

import pytest

from planning.reminders.quiet import held_until

BERLIN = ZoneInfo("Europe/Berlin")


def utc(text):
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.mark.parametrize(
    ("moment", "quiet_from", "quiet_until", "expected"),
    [
        pytest.param("2026-11-25T17:00", "20:00", "06:00", "2026-11-25T17:00", id="in the day"),
        pytest.param("2026-11-25T19:00", "20:00", "06:00", "2026-11-26T05:00", id="evening"),
        pytest.param("2026-11-26T04:59", "20:00", "06:00", "2026-11-26T05:00", id="last minute"),
        pytest.param("2026-11-26T05:00", "20:00", "06:00", "2026-11-26T05:00", id="just over"),
        pytest.param("2026-11-25T11:30", "12:00", "13:00", "2026-11-25T12:00", id="noon rest"),
        pytest.param("2026-11-25T12:00", "12:00", "12:00", "2026-11-25T12:00", id="none"),
        pytest.param("2026-03-28T20:00", "20:00", "06:00", "2026-03-29T04:00", id="short night"),
        pytest.param("2026-10-24T19:00", "20:00", "06:00", "2026-10-25T05:00", id="long night"),
        pytest.param("2026-03-28T22:00", "20:00", "02:30", "2026-03-29T01:30", id="skipped end"),
        pytest.param("2026-10-24T23:00", "20:00", "02:30", "2026-10-25T00:30", id="first of two"),
        pytest.param("2026-10-25T01:10", "20:00", "02:30", "2026-10-25T01:30", id="second of two"),
    ],
)
def test_held_until_the_end_of_quiet_hours(moment, quiet_from, quiet_until, expected):
    found = held_until(
        utc(moment), BERLIN, time.fromisoformat(quiet_from), time.fromisoformat(quiet_until)
    )
    assert found == utc(expected)
