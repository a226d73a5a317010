"""
The simulation's own record of an invented shop: people, things, stock and orders.

Kept apart from the product: what is written here comes from the events alone, and the product's
rows are only named by their ids. Nothing here is measured in a shop.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

ZONE = ZoneInfo("Europe/Berlin")
Minutes = tuple[int, int]
"""From and to, in minutes of the day by the clock on the wall."""


@dataclass(frozen=True)
class StepRule:
    """A step of a route: its name, hands-on and waiting minutes, and who may do it."""

    name: str
    hands_min: int
    wait_min: int
    skill: str
    longest_wait_min: int | None = None
    oven: str = ""


BEFORE = (
    StepRule("First coat", 10, 30, "coating"),
    StepRule("Second coat", 10, 30, "coating", 2880),
)
OFF = StepRule("Take off and clean", 20, 0, "demoulding")
BAKE = StepRule("Bake", 5, 480, "demoulding", None, "60C")
ROUTES: Mapping[str, Mapping[str, tuple[StepRule, ...]]] = {
    "plain": {"A": (OFF,)},
    "baked": {"A": (OFF, BAKE)},
    "pair": {"A": (OFF,), "B": (OFF,)},
}
"""What follows the cure, by route and half; the coats come before every pour."""


@dataclass(frozen=True)
class Resin:
    """A resin system as its invented data sheet has it, at the temperature of the shop."""

    code: str
    hardener_per_100: float
    pot_life_min: float
    gap_least_min: float
    gap_greatest_min: float
    demould_min: float
    deepest_mm: float
    vessel_kg: float = 12.0
    density: float = 1.7


RESINS = (
    Resin("Q", 12.0, 45, 120, 1080, 960, 60),
    Resin("M", 10.0, 60, 180, 1440, 1200, 50),
    Resin("S", 20.0, 90, 240, 1800, 1440, 80),
)
SHOP_C = "25.0"
"""The shop is always as warm as the data sheets' temperature."""


@dataclass
class Hand:
    """Somebody who works here: hours by weekday (1 is Monday), and what differs on some days."""

    name: str
    skills: frozenset[str]
    hours: Mapping[int, tuple[Minutes, ...]]
    away: dict[date, list[Minutes]] = field(default_factory=dict)

    def is_there(self, start: datetime, end: datetime) -> bool:
        """Say whether all of a stretch lies in one stretch of work of its day."""
        begin, until = start.astimezone(ZONE), end.astimezone(ZONE)
        day, low, high = begin.date(), minute_of(begin), minute_of(until)
        if until.date() != day:
            return False
        away = any(a < high and low < b for a, b in self.away.get(day, ()))
        works = self.hours.get(day.isoweekday(), ())
        return not away and any(a <= low and high <= b for a, b in works)


@dataclass
class Thing:
    """A mixer or a place: what it holds, and when it cannot be used."""

    name: str
    kind: str
    holds: float
    out: list[tuple[datetime, datetime]] = field(default_factory=list)

    def is_out(self, start: datetime, end: datetime) -> bool:
        """Say whether it cannot be used at some time of a stretch."""
        return any(a < end and start < b for a, b in self.out)


@dataclass
class Can:
    """A can of resin or hardener."""

    material: str
    kg: float
    until: date
    """The last day on which it may be used."""
    opened: datetime | None = None
    open_days: int | None = None

    def usable_at(self, at: datetime) -> bool:
        """Say whether it may be used then."""
        if at.astimezone(ZONE).date() > self.until:
            return False
        if self.opened is None or self.open_days is None:
            return True
        return at <= self.opened + timedelta(days=self.open_days)


@dataclass
class Asked:
    """A pour as the customer wants it, and what has become of it."""

    number: str
    half: str
    route: str
    resin: Resin
    depth_mm: float
    kg: float
    due: date
    weight: int
    below: int | None
    wanted: bool = True
    """Not cancelled and not on hold."""
    cast: list[tuple[float, float, datetime]] = field(default_factory=list)
    """What was poured: lift depth, mass, and when the last of it was in, from the bottom up."""
    done_at: datetime | None = None
    """When its last step was over."""
    promised: bool = False
    """In the plan that was confirmed last."""

    @property
    def due_at(self) -> datetime:
        """Return the end of the day on which it is due."""
        return datetime.combine(self.due + timedelta(days=1), time.min, ZONE)

    @property
    def after(self) -> tuple[StepRule, ...]:
        """Return the steps after its cure."""
        return ROUTES[self.route][self.half]


@dataclass
class Book:
    """Everything that is so, by the ids of the product's rows."""

    people: dict[int, Hand] = field(default_factory=dict)
    mixers: dict[int, Thing] = field(default_factory=dict)
    places: dict[int, Thing] = field(default_factory=dict)
    cans: dict[int, Can] = field(default_factory=dict)
    pours: dict[int, Asked] = field(default_factory=dict)
    cancelled: set[int] = field(default_factory=set)

    def open_pours(self) -> Iterable[tuple[int, Asked]]:
        """Return the pours that are wanted and not done."""
        return [(key, one) for key, one in self.pours.items()
                if one.wanted and one.done_at is None]  # fmt: skip

    def lateness(self, until: datetime) -> dict[str, int]:
        """Return weighted late minutes by the month in which pours were due."""
        found: dict[str, int] = {}
        for one in self.pours.values():
            if not one.wanted or one.due_at > until:
                continue
            late = max(timedelta(0), (one.done_at or until) - one.due_at)
            month = f"{one.due:%Y-%m}"
            found[month] = found.get(month, 0) + one.weight * int(late.total_seconds() // 60)
        return found


def minute_of(at: datetime) -> int:
    """Return the minute of the day."""
    return at.hour * 60 + at.minute


def at_clock(day: date, minute: int) -> datetime:
    """Return a moment by the clock on the wall."""
    return datetime.combine(day, time(minute // 60, minute % 60), ZONE)
