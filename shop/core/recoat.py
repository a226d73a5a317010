"""Release agent on a tool: shots left before the next coat, and when a coat may follow."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal


@dataclass(frozen=True)
class Window:
    """When the next coat, or the pour, may follow the last coat; `latest` None if unlimited."""

    earliest: datetime
    latest: datetime | None


def window(coated_at: datetime, dry_min: float, longest_min: float | None = None) -> Window:
    """
    Return when the next coat may go on.

    Parameters
    ----------
    coated_at : datetime.datetime
        End of the last coat, with its time zone; minutes are elapsed time, so a clock change
        neither adds nor takes any.
    dry_min : float
        Least drying time, minutes, from the agent's datasheet.
    longest_min : float, optional
        Longest wait, minutes, before the surface must be coated afresh.

    Raises
    ------
    ValueError
        If a time is negative, the longest is below the least, or the moment has no zone.
    """
    if coated_at.tzinfo is None:
        raise ValueError("coated_at has no time zone; give one")
    if dry_min < 0 or (longest_min is not None and longest_min < dry_min):
        raise ValueError(
            f"dry_min is {dry_min} min, longest_min {longest_min} min; "
            "they must be 0 or more, and the longest not below the least"
        )
    zone = coated_at.tzinfo
    start = coated_at.timestamp()
    earliest = datetime.fromtimestamp(start + dry_min * 60, zone)
    if longest_min is None:
        return Window(earliest, None)
    return Window(earliest, datetime.fromtimestamp(start + longest_min * 60, zone))


def state(coat_window: Window, at: datetime) -> Literal["drying", "open", "overdue"]:
    """Tell whether a coat is still drying, may be followed, or has waited too long."""
    if at < coat_window.earliest:
        return "drying"
    if coat_window.latest is not None and at > coat_window.latest:
        return "overdue"
    return "open"


@dataclass(frozen=True)
class CoatsLeft:
    """Shots left on the present release film; below 0 it is overdue."""

    shots_left: int
    due: bool
    due_on: date | None
    binding: str


def shots_left(
    shots_since_coat: int,
    shots_per_coat: int,
    *,
    coated_on: date | None = None,
    longest_days: int | None = None,
    today: date,
    shots_per_day: float = 0.0,
) -> CoatsLeft:
    """
    Return the shots left before the tool must be coated again.

    Parameters
    ----------
    shots_since_coat : int
        Shots done on the present film.
    shots_per_coat : int
        Shots one film lasts, from the agent's datasheet or the shop's own record.
    coated_on : datetime.date, optional
        Day of the last coat.
    longest_days : int, optional
        Days after which a film counts as worn, used or not.
    today : datetime.date
        Day to count from.
    shots_per_day : float, default 0
        Shots expected per calendar day, for the due date.

    Returns
    -------
    CoatsLeft
        `binding` says which ran out first: ``shots`` or ``age``.

    Raises
    ------
    ValueError
        If `shots_per_coat` is below 1 or shots are negative.
    """
    if shots_per_coat < 1 or shots_since_coat < 0:
        raise ValueError(
            f"shots_per_coat is {shots_per_coat} (1 or more), "
            f"shots_since_coat {shots_since_coat} (0 or more)"
        )
    left = shots_per_coat - shots_since_coat
    by_shots = (
        today + timedelta(days=math.floor(max(0, left) / shots_per_day))
        if shots_per_day > 0
        else (today if left <= 0 else None)
    )
    by_age = (
        coated_on + timedelta(days=longest_days)
        if coated_on is not None and longest_days is not None
        else None
    )
    dated = [(d, name) for d, name in ((by_shots, "shots"), (by_age, "age")) if d is not None]
    due_on, binding = min(dated) if dated else (None, "shots")
    return CoatsLeft(left, left <= 0 or (by_age is not None and by_age < today), due_on, binding)


def agent_needed(area_m2: float, coats: Sequence[float]) -> float:
    """
    Return the release agent a tool takes, in the agent's unit.

    Parameters
    ----------
    area_m2 : float
        Wetted area, m2.
    coats : sequence of float
        Use per square metre of each coat; the first on a bare surface often takes more.
    """
    if area_m2 < 0 or any(c < 0 for c in coats):
        raise ValueError(f"area_m2 is {area_m2} m2, coats {list(coats)}; all must be 0 or more")
    return area_m2 * math.fsum(coats)
