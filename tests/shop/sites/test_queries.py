from datetime import UTC, date, datetime, time
from decimal import Decimal

import pytest

from shop.sites.models import ClosedDay, DayChange, ExpectedTemperature, Mixer
from shop.sites.queries import day_hours, site_week
from tests.factories.shop import make_person, make_site

MONDAY = date(2026, 11, 23)


def change(starts=None, ends=None, *, extra=False):
    return DayChange(starts=starts and time(starts), ends=ends and time(ends), extra=extra)


USUAL = [(time(7), time(12)), (time(13), time(16))]


@pytest.mark.parametrize(
    ("changes", "hours"),
    [
        pytest.param([], [(7, 12), (13, 16)], id="a usual day"),
        pytest.param([change()], [], id="the whole day off"),
        pytest.param([change(9, 10)], [(7, 9), (10, 12), (13, 16)], id="an hour away"),
        pytest.param([change(11, 14)], [(7, 11), (14, 16)], id="away across the break"),
        pytest.param([change(6, 17)], [], id="away for all of it"),
        pytest.param([change(17, 19, extra=True)], [(7, 12), (13, 16), (17, 19)], id="overtime"),
        pytest.param([change(11, 14, extra=True)], [(7, 16)], id="working through the break"),
        pytest.param([change(), change(8, 9, extra=True)], [(8, 9)], id="off but in for an hour"),
    ],
)
def test_the_hours_of_a_day(changes, hours):
    assert day_hours(USUAL, changes) == [(time(a), time(b)) for a, b in hours]


@pytest.mark.django_db
def test_a_week_across_the_change_of_clocks_keeps_wall_time():
    # Berlin: clocks go forward on Sunday 28 March 2027, so 07:00 is 06:00 UTC before, 05:00 after.
    site = make_site(time_zone="Europe/Berlin")
    make_person(site, hours=[(5, time(7), time(8)), (1, time(7), time(8))], skills=["mixing"])
    make_person(site, in_use=False)
    week = site_week(site.pk, date(2027, 3, 26), 4)
    [person] = week.people
    assert person.skills == ("mixing",)
    assert [starts for starts, _ in person.shifts] == [
        datetime(2027, 3, 26, 6, tzinfo=UTC),
        datetime(2027, 3, 29, 5, tzinfo=UTC),
    ]


@pytest.mark.django_db
def test_a_night_shift_is_no_longer_than_the_night_the_clocks_change():
    # Berlin: 02:30 is skipped on 28 March 2027 and shown twice on 31 October 2027, both Sundays.
    site = make_site(time_zone="Europe/Berlin")
    hours = [(7, time(0), time(2, 30)), (7, time(2, 30), time(6)), (7, time(2, 40), time(2, 50))]
    make_person(site, hours=hours)
    for sunday, first_ends, second_starts in (
        (date(2027, 3, 28), "01:00", "01:00"), (date(2027, 10, 31), "00:30", "01:30"),
    ):  # fmt: skip
        [person] = site_week(site.pk, sunday, 1).people
        [first, second] = person.shifts
        assert (f"{first[1]:%H:%M}", f"{second[0]:%H:%M}") == (first_ends, second_starts)


@pytest.mark.django_db
def test_closed_days_temperatures_and_things_in_use(django_assert_max_num_queries):
    site, other = make_site(expected_c=Decimal(19)), make_site()
    make_person(site, hours=[(day, time(7), time(12)) for day in range(1, 6)])
    ClosedDay.objects.create(site=site, day=date(2026, 11, 24))
    ExpectedTemperature.objects.create(site=site, day=date(2026, 11, 25), shop_c=Decimal(16))
    for place, code, used in ((site, "M1", True), (site, "M2", False), (other, "M3", True)):
        Mixer.objects.create(site=place, code=code, name=code, largest_kg=20, in_use=used)
    with django_assert_max_num_queries(10):
        week = site_week(site.pk, MONDAY, 5)
    assert week.closed_days == (date(2026, 11, 24),)
    assert [week.expected_c[MONDAY.replace(day=d)] for d in (23, 25)] == [19, 16]
    assert [mixer.code for mixer in week.mixers] == ["M1"]
    days = [starts.day for starts, _ in week.people[0].shifts]
    assert days == [23, 25, 26, 27]
