from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from shop.core import recoat

BERLIN = ZoneInfo("Europe/Berlin")
TODAY = date(2026, 11, 25)


def test_a_coat_dries_then_may_be_followed_then_is_overdue():
    coated = datetime(2026, 11, 25, 7, 0, tzinfo=BERLIN)
    window = recoat.window(coated, dry_min=30, longest_min=240)
    states = [recoat.state(window, coated + timedelta(minutes=m)) for m in (29, 30, 240, 241)]
    assert states == ["drying", "open", "open", "overdue"]


def test_drying_is_elapsed_time_over_a_clock_change():
    # 2026-03-29, 02:00 becomes 03:00 in Berlin (IANA time zone data): 60 min after 01:30 is 03:30.
    window = recoat.window(datetime(2026, 3, 29, 1, 30, tzinfo=BERLIN), dry_min=60)
    assert window.earliest.strftime("%H:%M") == "03:30"
    assert window.latest is None


def test_shots_left_and_the_day_they_run_out():
    found = recoat.shots_left(6, 10, today=TODAY, shots_per_day=1.5)
    assert (found.shots_left, found.due, found.due_on) == (4, False, date(2026, 11, 27))


def test_an_old_film_is_due_although_shots_are_left():
    found = recoat.shots_left(
        1, 10, coated_on=date(2026, 10, 1), longest_days=30, today=TODAY, shots_per_day=1
    )
    assert (found.due, found.due_on, found.binding) == (True, date(2026, 10, 31), "age")


def test_an_overrun_film_is_due_today_and_says_by_how_much():
    found = recoat.shots_left(12, 10, today=TODAY)
    assert (found.shots_left, found.due, found.due_on) == (-2, True, TODAY)


def test_agent_is_area_times_the_sum_of_coats():
    assert recoat.agent_needed(0.4, [0.05, 0.03, 0.03]) == pytest.approx(0.044)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: recoat.window(datetime(2026, 1, 1), 5), "no time zone"),  # noqa: DTZ001
        (lambda: recoat.window(datetime(2026, 1, 1, tzinfo=BERLIN), 9, 5), "longest_min 5 min"),
        (lambda: recoat.shots_left(0, 0, today=TODAY), "shots_per_coat is 0"),
        (lambda: recoat.agent_needed(-1, [1]), "area_m2 is -1 m2"),
    ],
)
def test_nonsense_is_refused_with_its_value(call, words):
    with pytest.raises(ValueError, match=words):
        call()
