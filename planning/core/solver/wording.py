"""Minutes and masses in words."""

from __future__ import annotations

import math
from datetime import date, timedelta

from planning.core.plan import Problem


def day_starts(problem: Problem) -> tuple[int, ...]:
    """Return the minute of each midnight in the horizon."""
    return problem.day_starts or tuple(range(0, problem.horizon_min, 1440))


def day_of(problem: Problem, minute: int) -> int:
    """Return the number of the day a minute lies in, from 0."""
    return max(0, sum(1 for s in day_starts(problem) if s <= minute) - 1)


def day_name(problem: Problem, day: int) -> str:
    """Return a day of the horizon by weekday and date."""
    first = date.fromisoformat(problem.origin[:10])
    return f"{first + timedelta(days=day):%A %d %B}".replace(" 0", " ")


def when(problem: Problem, minute: int) -> str:
    """Return a minute as weekday, date and time of day."""
    day = day_of(problem, minute)
    clock = minute - day_starts(problem)[day]
    return f"{day_name(problem, day)}, {clock // 60:02d}:{clock % 60:02d}"


def kilograms(kg: float) -> str:
    """Return a mass rounded up to 0.1 kg."""
    return f"{math.ceil(kg * 10 - 1e-6) / 10:.1f} kg"


def hours(minutes: int) -> str:
    """Return a span in minutes, or in hours from two hours on."""
    return f"{minutes} min" if minutes < 120 else f"{minutes / 60:.1f} h".replace(".0 h", " h")
