"""When a supplier takes orders and delivers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

_ONE = timedelta(days=1)
_LONGEST_CLOSURE_DAYS = 370


@dataclass(frozen=True)
class SupplierCalendar:
    """
    Days a supplier is closed: it takes no order and delivers nothing on them.

    Weekdays are ISO: 1 is Monday, 7 Sunday.
    """

    closed_weekdays: frozenset[int] = frozenset()
    closed_days: frozenset[date] = frozenset()

    def __post_init__(self) -> None:
        if self.closed_weekdays >= {1, 2, 3, 4, 5, 6, 7}:
            raise ValueError("the supplier is closed on all seven weekdays; leave one open")

    def is_open(self, day: date) -> bool:
        """Tell whether orders are taken and delivered on a day."""
        return day.isoweekday() not in self.closed_weekdays and day not in self.closed_days

    def open_from(self, day: date) -> date:
        """Return the first open day on or after `day`."""
        return self._seek(day, _ONE)

    def open_until(self, day: date) -> date:
        """Return the last open day on or before `day`."""
        return self._seek(day, -_ONE)

    def _seek(self, day: date, step: timedelta) -> date:
        for _ in range(_LONGEST_CLOSURE_DAYS):
            if self.is_open(day):
                return day
            day += step
        raise ValueError(f"the supplier is closed for a year around {day.isoformat()}")

    def arrival(self, ordered_on: date, lead_days: int) -> date:
        """Return when an order arrives: calendar days of lead time, then the next open day."""
        return self.open_from(self.open_from(ordered_on) + timedelta(days=lead_days))

    def last_order(self, needed_on: date, lead_days: int) -> date:
        """Return the last open day on which to order so that it is there on `needed_on`."""
        arrives = self.open_until(needed_on)
        return self.open_until(arrives - timedelta(days=lead_days))
