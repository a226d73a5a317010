from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.core.supplier_calendar import SupplierCalendar

WEEKENDS = SupplierCalendar(frozenset({6, 7}))


def test_an_order_for_monday_is_placed_by_the_friday_that_reaches_it():
    # 2026-12-07 is a Monday; five days before is Wednesday 2 December.
    assert WEEKENDS.last_order(date(2026, 12, 7), 5) == date(2026, 12, 2)
    # needed on Sunday: it must arrive on Friday 4 December, so order on Sunday 29 November, closed
    assert WEEKENDS.last_order(date(2026, 12, 6), 5) == date(2026, 11, 27)


def test_a_holiday_moves_the_arrival():
    holidays = SupplierCalendar(frozenset({6, 7}), frozenset({date(2026, 12, 25)}))
    assert holidays.arrival(date(2026, 12, 18), 7) == date(2026, 12, 28)


calendars = st.builds(
    SupplierCalendar,
    st.frozensets(st.integers(1, 7), max_size=5),
    st.frozensets(st.dates(date(2026, 11, 1), date(2027, 3, 1)), max_size=20),
)


@given(calendars, st.dates(date(2026, 12, 1), date(2027, 2, 1)), st.integers(0, 30))
def test_the_last_order_arrives_in_time_and_a_day_later_does_not(calendar, needed, lead):
    last = calendar.last_order(needed, lead)
    assert calendar.arrival(last, lead) <= needed
    later = calendar.open_from(last + timedelta(days=1))
    assert calendar.arrival(later, lead) > needed


def test_a_supplier_that_never_opens_is_refused():
    with pytest.raises(ValueError, match="all seven weekdays"):
        SupplierCalendar(frozenset(range(1, 8)))
