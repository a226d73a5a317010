"""Minutes of a plan and moments of the clock on the wall."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from planning.core import plan as core
from shared.access.models import Site


@dataclass(frozen=True)
class Clock:
    """Turns instants into minutes since the origin and back."""

    origin: datetime
    zone: ZoneInfo

    @classmethod
    def of(cls, problem: core.Problem, site: Site) -> Clock:
        """Return the clock a problem was made with."""
        return cls(datetime.fromisoformat(problem.origin), ZoneInfo(site.time_zone))

    @property
    def first_day(self) -> date:
        return self.origin.astimezone(self.zone).date()

    def minute(self, at: datetime) -> int:
        return math.floor((at - self.origin).total_seconds() / 60)

    def minute_up(self, at: datetime) -> int:
        return math.ceil((at - self.origin).total_seconds() / 60)

    def instant(self, minute: int) -> datetime:
        return self.origin + timedelta(minutes=minute)

    def midnight(self, day: date) -> int:
        return self.minute(datetime.combine(day, time.min, self.zone).astimezone(UTC))
