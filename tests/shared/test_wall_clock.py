"""What a clock on the wall shows on the nights it changes, north and south of the equator."""

import ast
import re
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from shared import wall_clock
from shared.errors import Invalid
from shared.templatetags import units

BERLIN, AUCKLAND = ZoneInfo("Europe/Berlin"), ZoneInfo("Pacific/Auckland")
SANTIAGO, LORD_HOWE = ZoneInfo("America/Santiago"), ZoneInfo("Australia/Lord_Howe")
"""IANA tzdata: the first two change by an hour at 2 or 3 at night, Santiago at midnight, Lord Howe
by half an hour."""

SKIPPED = [
    ("2027-03-28T02:30", BERLIN, "from 01:59 to 03:00"),
    ("2027-03-28T02:00", BERLIN, "from 01:59 to 03:00"),
    ("2026-09-27T02:59", AUCKLAND, "from 01:59 to 03:00"),
    ("2026-09-06T00:30", SANTIAGO, "from 23:59 to 01:00"),
    ("2026-10-04T02:10", LORD_HOWE, "from 01:59 to 02:30"),
]
TWICE = [
    ("2026-10-25T02:30", BERLIN, "2026-10-25T00:30", "2026-10-25T01:30"),
    ("2026-10-25T02:00", BERLIN, "2026-10-25T00:00", "2026-10-25T01:00"),
    ("2027-04-04T02:30", AUCKLAND, "2027-04-03T13:30", "2027-04-03T14:30"),
    ("2027-04-03T23:30", SANTIAGO, "2027-04-04T02:30", "2027-04-04T03:30"),
    ("2027-04-04T01:45", LORD_HOWE, "2027-04-03T14:45", "2027-04-03T15:15"),
]


def utc(text):
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def code_of(typed, zone, **options):
    with pytest.raises(Invalid) as refused:
        wall_clock.moment(typed, zone, name="Seen at", **options)
    return refused.value.problems[0].code, refused.value.message


@pytest.mark.parametrize(("typed", "zone", "change"), SKIPPED)
def test_a_time_that_the_clock_skips_is_refused_with_the_times_that_there_are(typed, zone, change):
    for twice in ("ask", "earlier", "later"):
        code, words = code_of(typed, zone, twice=twice)
        assert code == "skipped_by_clock"
        last, first = change.removeprefix("from ").split(" to ")
        assert words.startswith(f"Seen at is {datetime.fromisoformat(typed):%a %d %b %Y %H:%M}; ")
        assert change in words
        assert words.endswith(f"Give {last} or earlier, or {first} or later.")


@pytest.mark.parametrize(("typed", "zone", "first", "second"), TWICE)
def test_of_a_time_shown_twice_the_question_is_asked_or_the_side_named_taken(
    typed, zone, first, second
):
    code, words = code_of(typed, zone)
    assert code == "shown_twice"
    offered = [one.strip(",.") for one in words.split() if "T" in one and one[:4].isdigit()]
    assert [datetime.fromisoformat(one).astimezone(UTC) for one in offered] == [
        utc(first), utc(second),
    ]  # fmt: skip

    def take(**options):
        return wall_clock.moment(typed, zone, name="Seen at", **options)

    assert take(twice="earlier") == utc(first)
    assert take(twice="later") == utc(second)
    between = utc(second) - timedelta(minutes=1)
    assert take(twice="later", now=between) == utc(first), "the second is still ahead"
    assert take(twice="later", now=utc(second)) == utc(second)
    for one in offered:
        assert wall_clock.moment(one, zone, name="Seen at") == datetime.fromisoformat(one)


@pytest.mark.parametrize(("typed", "moment"), [
    ("2026-10-25T01:59", "2026-10-24T23:59"), ("2026-10-25T03:00", "2026-10-25T02:00"),
    ("2027-03-28T01:59", "2027-03-28T00:59"), ("2027-03-28T03:00", "2027-03-28T01:00"),
    ("2026-11-30 07:30", "2026-11-30T06:30"), ("2026-11-30T07:30+05:00", "2026-11-30T02:30"),
])  # fmt: skip
def test_other_times_are_what_they_say(typed, moment):
    assert wall_clock.moment(typed, BERLIN, name="At") == utc(moment)


@pytest.mark.parametrize("typed", ["", "tomorrow", "25:00", "0001-01-01T00:00+10:00"])
def test_what_is_no_time_is_refused(typed):
    assert code_of(typed, BERLIN)[0] == "not_a_time"


def test_the_ends_of_the_calendar_are_refused_with_a_word_on_the_year():
    assert "check the year" in code_of("0001-01-01T00:00", BERLIN)[1]


@pytest.mark.parametrize(("day", "starts", "ends", "hours"), [
    ("2027-03-28", "02:00", "10:00", ("01:00", "08:00")),
    ("2027-03-28", "02:30", "10:00", ("01:00", "08:00")),
    ("2027-03-28", "00:00", "02:30", ("23:00", "01:00")),
    ("2027-03-28", "02:10", "02:50", None),
    ("2026-10-25", "02:30", "10:00", ("01:30", "09:00")),
    ("2026-10-25", "00:00", "02:30", ("22:00", "00:30")),
    ("2026-10-25", "02:10", "02:50", None),
    ("2026-10-25", "00:00", "10:00", ("22:00", "09:00")),
])  # fmt: skip
def test_nobody_is_there_longer_than_a_shift_surely_lasts(day, starts, ends, hours):
    found = wall_clock.span(
        date.fromisoformat(day), time.fromisoformat(starts), time.fromisoformat(ends), BERLIN
    )
    shown = None if found is None else tuple(f"{at:%H:%M}" for at in found)
    assert shown == hours
    assert found is None or found[1].date() == date.fromisoformat(day)


@pytest.mark.parametrize(("moment", "words"), [
    ("2026-10-25T00:30", "02:30 (first)"), ("2026-10-25T01:30", "02:30 (second)"),
    ("2026-10-25T02:30", "03:30"), ("2026-10-24T23:59", "01:59"), ("2027-03-28T01:00", "03:00"),
])  # fmt: skip
def test_a_time_told_to_people_says_which_of_two_it_is(moment, words):
    at = utc(moment)
    assert wall_clock.clock_words(at.astimezone(BERLIN)) == words
    assert units.clock(at, "Europe/Berlin") == words
    assert units.moment(at, "Europe/Berlin").endswith(f" {words}")


OWN_RULE = {
    "planning/reminders/quiet.py": "quiet hours end as its docstring says",
    "planning/files/special.py": "midnight and noon of a day that a file names",
}
"""Where else a time of day gets a zone, and why that is right there."""
DOUBTFUL = re.compile(r"datetime\.combine\(|replace\(tzinfo=|forms\.DateTimeField|make_aware")


def test_no_other_place_makes_a_moment_of_what_the_clock_on_the_wall_shows():
    root = Path(__file__).parents[2]
    found = set()
    for path in (p for top in ("planning", "shop", "shared") for p in (root / top).rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        name = path.relative_to(root).as_posix()
        if DOUBTFUL.search(text) and not name.endswith("shared/wall_clock.py"):
            found |= {name for node in ast.walk(ast.parse(text)) if _takes_the_wall_for_it(node)}
    assert found == set(OWN_RULE)


def _takes_the_wall_for_it(node):
    if not isinstance(node, ast.Call):
        return False
    called, given = ast.unparse(node.func), [ast.unparse(one) for one in node.args]
    zones = [ast.unparse(k.value) for k in node.keywords if k.arg == "tzinfo"]
    if called == "datetime.combine":
        return len(given) + len(zones) == 3 and given[1] != "time.min"
    if called.endswith(".replace") and zones:
        return zones[0] not in ("UTC", "None")
    return called in ("forms.DateTimeField", "make_aware", "timezone.make_aware")
