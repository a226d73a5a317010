"""How well a supplier delivers: on time, in full, sound, and fresh as ordered."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

ZERO = Decimal(0)


@dataclass(frozen=True)
class Line:
    """One line of an order that has come due: what was asked for, and what came on which day."""

    ordered: Decimal
    asked_on: date
    promised_on: date
    """As confirmed by the supplier, else as asked."""
    came: Sequence[tuple[date, Decimal]]
    """Net of what was booked back, in any order."""

    def by(self, day: date) -> Decimal:
        """Return what had come at the end of a day."""
        return sum((quantity for at, quantity in self.came if at <= day), ZERO)

    @property
    def total(self) -> Decimal:
        """Return all that has come."""
        return sum((quantity for _, quantity in self.came), ZERO)

    @property
    def late_days(self) -> int | None:
        """Return the days after the promise on which all of it was there; None if it never was."""
        for day in sorted(at for at, _ in self.came):
            if self.by(day) >= self.ordered:
                return max(0, (day - self.promised_on).days)
        return None


@dataclass(frozen=True)
class Arrival:
    """A lot of one receipt: whether it was sound, and the days of shelf life it had left."""

    sound: bool
    life_left_days: int | None = None
    least_life_days: int | None = None
    """As ordered; None where nothing was agreed."""


@dataclass(frozen=True)
class Share:
    """So many of so many."""

    good: int
    of: int

    @property
    def percent(self) -> float | None:
        """Return the share in per cent; None of nothing."""
        return 100 * self.good / self.of if self.of else None


@dataclass(frozen=True)
class Performance:
    """What a supplier did in some time."""

    lines: int
    on_time: Share
    """All of the line by the day that the supplier promised."""
    on_day_asked: Share
    in_full: Share
    mean_late_days: float | None
    """Of the lines that came in full, those on time as 0."""
    sound: Share
    fresh: Share
    """Of the arrivals whose order asks for shelf life, those that had it."""


def performance(lines: Iterable[Line], arrivals: Iterable[Arrival], *, today: date) -> Performance:
    """
    Return the figures of one supplier from lines promised up to `today`, and all arrivals.

    A line that is not due yet says nothing and is left out.
    """
    due = [line for line in lines if line.promised_on <= today]
    late = [days for line in due if (days := line.late_days) is not None]
    came = list(arrivals)
    asked = [(a.life_left_days or 0, a.least_life_days) for a in came]
    bound = [(left, least) for left, least in asked if least is not None]
    return Performance(
        lines=len(due),
        on_time=Share(sum(x.by(x.promised_on) >= x.ordered for x in due), len(due)),
        on_day_asked=Share(sum(x.by(x.asked_on) >= x.ordered for x in due), len(due)),
        in_full=Share(sum(x.total >= x.ordered for x in due), len(due)),
        mean_late_days=sum(late) / len(late) if late else None,
        sound=Share(sum(a.sound for a in came), len(came)),
        fresh=Share(sum(left >= least for left, least in bound), len(bound)),
    )
