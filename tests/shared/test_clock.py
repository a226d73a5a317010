"""Days begin and end where the site is, through both changes of the clocks."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import time_machine

from shared import clock


@dataclass(frozen=True)
class Place:
    time_zone: str


BERLIN, AUCKLAND = Place("Europe/Berlin"), Place("Pacific/Auckland")


def test_the_day_differs_between_sites_at_one_moment():
    with time_machine.travel(datetime(2026, 11, 25, 23, 30, tzinfo=UTC), tick=False):
        assert clock.now() == datetime(2026, 11, 25, 23, 30, tzinfo=UTC)
        assert clock.today(BERLIN) == date(2026, 11, 26)
        assert clock.today(AUCKLAND) == date(2026, 11, 26)
        assert clock.today(Place("America/Halifax")) == date(2026, 11, 25)


def test_a_day_has_23_or_25_hours_when_clocks_change():
    """IANA tzdata, Europe/Berlin: forward on 2027-03-28, back on 2027-10-31."""
    spring, autumn = date(2027, 3, 28), date(2027, 10, 31)
    assert clock.day_end(spring, BERLIN) - clock.day_start(spring, BERLIN) == timedelta(hours=23)
    assert clock.day_end(autumn, BERLIN) - clock.day_start(autumn, BERLIN) == timedelta(hours=25)


def test_a_use_by_day_is_good_to_its_end_at_the_site():
    assert clock.day_end(date(2026, 11, 25), BERLIN) == datetime(2026, 11, 25, 23, tzinfo=UTC)
    assert clock.local(datetime(2026, 11, 25, 23, tzinfo=UTC), BERLIN).hour == 0
