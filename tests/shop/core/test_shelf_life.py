from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.core import shelf_life


@pytest.mark.parametrize(
    ("day", "months", "expected"),
    [
        pytest.param("2026-01-31", 1, "2026-02-28", id="clamped to a short month"),
        pytest.param("2024-02-29", 12, "2025-02-28", id="leap day to a common year"),
        pytest.param("2026-11-25", 24, "2028-11-25", id="two years"),
        pytest.param("2026-12-31", 2, "2027-02-28", id="over the year's end"),
        pytest.param("2026-03-31", -1, "2026-02-28", id="backwards"),
    ],
)
def test_months_are_added_on_the_calendar(day, months, expected):
    assert shelf_life.add_months(date.fromisoformat(day), months) == date.fromisoformat(expected)


@given(st.dates(date(2000, 1, 1), date(2100, 12, 31)), st.integers(min_value=-240, max_value=240))
def test_month_sums_agree_with_dateutil(day, months):
    from dateutil.relativedelta import relativedelta  # independent of our code

    assert shelf_life.add_months(day, months) == day + relativedelta(months=months)


def test_the_open_life_binds_when_it_ends_before_the_label():
    found = shelf_life.usable_until(
        label_until=date(2027, 6, 30), opened_on=date(2026, 11, 1), open_life_days=90
    )
    assert (found.until, found.binding) == (date(2027, 1, 30), "open life")
    assert [c.name for c in found.clocks] == ["open life", "label"]


def test_the_stricter_of_label_and_computed_shelf_life_holds():
    found = shelf_life.usable_until(
        label_until=date(2028, 1, 1), made_on=date(2026, 1, 15), shelf_life_months=12
    )
    assert (found.until, found.binding) == (date(2027, 1, 15), "shelf life")


def test_a_retest_replaces_the_label_but_not_the_open_life():
    found = shelf_life.usable_until(
        label_until=date(2026, 10, 1),
        retested_until=date(2027, 4, 1),
        opened_on=date(2026, 11, 1),
        open_life_days=30,
    )
    assert (found.until, found.binding) == (date(2026, 12, 1), "open life")


def test_no_clock_runs_for_a_consumable_without_shelf_life():
    found = shelf_life.usable_until()
    assert found.until is None
    assert found.usable_on(date(2099, 1, 1))


def test_the_expiry_day_itself_is_usable_and_the_next_is_not():
    found = shelf_life.usable_until(label_until=date(2026, 11, 25))
    assert found.usable_on(date(2026, 11, 25))
    assert not found.usable_on(date(2026, 11, 26))


def test_ten_kelvin_warmer_uses_shelf_life_twice_as_fast():
    # ASTM F1980: factor Q10^(dT/10), Q10 = 2 (from memory): 30 days at 33 C count as 60 at 23 C.
    assert shelf_life.shelf_days_used([(30, 33)], reference_c=23) == pytest.approx(60)
    assert shelf_life.shifted_until(date(2027, 3, 1), [(30, 33)], reference_c=23) == date(
        2027, 1, 30
    )


def test_a_cold_store_never_lengthens_a_shelf_life():
    assert shelf_life.shifted_until(date(2027, 3, 1), [(60, 5)], reference_c=23) == date(
        2027, 3, 1
    )


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: shelf_life.sealed_until(date(2026, 1, 1)), "0 months and 0 days"),
        (lambda: shelf_life.open_until(date(2026, 1, 1), -1), "-1 d"),
        (lambda: shelf_life.shelf_days_used([(-2, 20)], reference_c=20), "-2 d"),
        (lambda: shelf_life.shelf_days_used([], reference_c=20, q10=0.5), "q10 is 0.5"),
    ],
)
def test_nonsense_is_refused_with_its_value(call, words):
    with pytest.raises(ValueError, match=words):
        call()
