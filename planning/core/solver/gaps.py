"""How long the next lift waits for the one below: by the day on which that one was poured."""

from __future__ import annotations

from bisect import bisect_right
from typing import NamedTuple

from planning.core.plan import Lift
from planning.core.problem import Opening, Pour, System

SAME_MM = 1e-6


class Gap(NamedTuple):
    """Least and greatest minutes between two lifts, the lower one in at `from_min` or later."""

    from_min: int
    least: int
    greatest: int


class Gaps:
    """The gaps over one lift, ordered by minute; the first one reaches back to 0."""

    def __init__(self, rows: list[Gap]) -> None:
        self.rows = rows
        self._from = [row.from_min for row in rows]
        self.least = min(row.least for row in rows)
        """The shortest there is."""

    def at(self, end: int) -> Gap:
        """Return the gap in force where the lower lift is poured by `end`."""
        return self.rows[max(0, bisect_right(self._from, end) - 1)]

    def soonest(self, end: int) -> int:
        """Return when the next lift may follow at the earliest, this one in at `end` or later."""
        ends = [*self._from[1:], None]
        return min(
            max(row.from_min if i else 0, end) + row.least
            for i, (row, until) in enumerate(zip(self.rows, ends, strict=True))
            if until is None or until > end
        )


def gaps_over(pour: Pour, lower: Lift, system: System) -> Gaps:
    """
    Return the gaps over a lift of a pour: its own openings, or the system's where it has none.

    Of a lift that none of the pour's openings is of, the strictest of all count.
    """
    if not pour.openings:
        rows = [Gap(c.from_min, c.gap_least_min, c.gap_greatest_min) for c in system.conditions]
        return Gaps(rows)
    own = [one for one in pour.openings if _is_of(one, lower)]
    return Gaps(_strictest(own or list(pour.openings)))


def same_mm(one: float, other: float) -> bool:
    """Whether two depths agree."""
    return abs(one - other) <= SAME_MM


def _is_of(opening: Opening, lift: Lift) -> bool:
    return opening.lift == lift.lift and same_mm(opening.depth_mm, lift.depth_mm)


def _strictest(found: list[Opening]) -> list[Gap]:
    """Return the longest least and the shortest greatest gap of several lifts at each minute."""
    lifts: dict[tuple[int, float], list[Opening]] = {}
    for one in sorted(found, key=lambda one: one.from_min):
        lifts.setdefault((one.lift, one.depth_mm), []).append(one)
    rows = []
    for minute in sorted({one.from_min for one in found}):
        held = []
        for ordered in lifts.values():
            begun = [one for one in ordered if one.from_min <= minute]
            held.append(begun[-1] if begun else ordered[0])
        least, greatest = max(o.least_min for o in held), min(o.greatest_min for o in held)
        rows.append(Gap(minute, least, greatest))
    return rows
