"""How the measured dimensions of a tool drift: over its shots, or over days while it stands."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from shop.core.drift import COVERED, Leaving, Limits, Trend, leaves, trend
from shop.tools.inspection_models import Checkpoint, ToolFinding
from shop.tools.models import RUN_KINDS, ToolEvent

AHEAD_DAYS = 365
"""Days ahead for which a line is carried on; chosen here, no source."""
DAY_S = 86_400.0
MOST_TOLD = 200
"""The latest measurements of a dimension that are told; the line takes in all."""


@dataclass(frozen=True)
class Drift:
    """
    One dimension of one tool: its measurements in order of time, and where they lead.

    `over` says what the line runs over, ``shots`` or ``days`` since the first measurement, and
    `places` where on it each measurement stands. The limits are those that hold now.
    """

    checkpoint: Checkpoint
    found: tuple[ToolFinding, ...]
    places: tuple[float, ...]
    over: str
    limits: Limits
    line: Trend | None
    leaving: Leaving | None
    leaves_on: date | None
    expected_on: date | None
    today: date

    @property
    def last(self) -> ToolFinding:
        """Return the latest measurement."""
        return self.found[-1]

    @property
    def outside(self) -> bool:
        """Tell whether the latest measurement is outside its tolerance."""
        return self.limits.side(float(self.last.value or 0)) != "within"

    @property
    def range_words(self) -> str:
        """Say what the dimension may be."""
        unit = self.checkpoint.unit
        return f"{_plain(self.limits.lowest)} to {_plain(self.limits.highest)} {unit}"

    @property
    def words(self) -> str:
        """Say where the dimension stands and where it leads, in one or two sentences."""
        now = f"{self.checkpoint.name} is {_plain(float(self.last.value or 0))} "
        now += self.checkpoint.unit
        if self.outside:
            return f"{now}; it must be {self.range_words}."
        return f"{now}, within {self.range_words}. {self._trend_words()}"

    def _trend_words(self) -> str:
        if self.line is None:
            return "Three measurements at different times are needed for a trend."
        if not self.line.drifts:
            return "No trend stands out from the spread of the measurements."
        if self.leaves_on is None:
            return f"It drifts, and stays within for {AHEAD_DAYS} days at the present pace."
        by_line = (
            f", by the line itself on {self.expected_on:%d %b %Y}" if self.expected_on else ""
        )
        share = round(100 * COVERED)
        return (
            f"It drifts, and may be outside from {self.leaves_on:%d %b %Y} on ({share} % range)"
            f"{by_line}."
        )


def drifts(events: Sequence[ToolEvent], pace: float, today: date) -> list[Drift]:
    """
    Return the drift of each measured dimension of one tool, in the order of its checklist.

    Parameters
    ----------
    events : sequence of ToolEvent
        Standing events of the tool in order of time, with their findings.
    pace : float
        Shots a day, by which a line over shots is told in days.
    """
    series: dict[int, list[tuple[ToolFinding, ToolEvent, int]]] = defaultdict(list)
    shots = 0
    for event in events:
        shots += event.shots if event.kind in RUN_KINDS else 0
        for finding in event.findings.all():
            if finding.value is not None and finding.checkpoint.in_use:
                finding.event = event
                series[finding.checkpoint_id].append((finding, event, shots))
    found = [_drift(rows, shots, pace, today) for rows in series.values()]
    return sorted(found, key=lambda one: one.checkpoint.code)


def _drift(
    rows: Sequence[tuple[ToolFinding, ToolEvent, int]], shots: int, pace: float, today: date
) -> Drift:
    point = rows[-1][0].checkpoint
    first = rows[0]
    run = rows[-1][2] > first[2]
    places = [
        float(n - first[2]) if run else (event.at - first[1].at).total_seconds() / DAY_S
        for _, event, n in rows
    ]
    limits = Limits(float(point.lowest or 0), float(point.highest or 0))
    values = [float(finding.value or 0) for finding, _, _ in rows]
    line = trend(list(zip(places, values, strict=True)), float(point.gauge_step or 0))
    now = float(shots - first[2]) if run else float((today - first[1].at.date()).days)
    each_day = pace if run else 1.0
    start = max(now, places[-1])
    leaving = None
    if line is not None and each_day > 0:
        leaving = leaves(line, limits, start, start + AHEAD_DAYS * each_day)

    def day(place: float | None) -> date | None:
        return None if place is None else today + timedelta(days=int((place - now) / each_day))

    return Drift(
        checkpoint=point,
        found=tuple(finding for finding, _, _ in rows),
        places=tuple(places),
        over="shots" if run else "days",
        limits=limits,
        line=line,
        leaving=leaving,
        leaves_on=day(leaving.earliest) if leaving else None,
        expected_on=day(leaving.expected) if leaving else None,
        today=today,
    )


def _plain(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".")


def figures(one: Drift) -> dict[str, Any]:
    """Return the drift of a dimension as plain data, in the form the API answers."""
    slope = one.line.slope_range() if one.line else None
    rows = list(zip(one.found, one.places, strict=True))[-MOST_TOLD:]
    return {
        "checkpoint": str(one.checkpoint.pk),
        "name": one.checkpoint.name,
        "unit": one.checkpoint.unit,
        "nominal": one.checkpoint.nominal,
        "lowest": one.limits.lowest,
        "highest": one.limits.highest,
        "outside": one.outside,
        "drifts": bool(one.line and one.line.drifts),
        "over": one.over,
        "slope": slope and slope.middle,
        "slope_low": slope and slope.low,
        "slope_high": slope and slope.high,
        "scatter": one.line and one.line.scatter,
        "may_be_outside_on": one.leaves_on,
        "expected_outside_on": one.expected_on,
        "words": one.words,
        "measurements": [
            {
                "event": str(row.event_id),
                "at": row.event.at,
                "place": place,
                "value": row.value,
                "passes": row.passes,
            }
            for row, place in rows
        ],
    }
