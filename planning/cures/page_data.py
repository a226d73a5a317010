"""What the pour page shows: lifts with their clocks, temperatures as a curve, steps, batches."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from planning.batches.models import Batch, BatchEntry, EntryKind, Lift
from planning.clocks.actions import FULL_MM, open_mm, rest_of
from planning.clocks.half_poured import HalfPoured, half_poured
from planning.clocks.models import Cure, OvenStay, TemperatureReading, Waits
from planning.clocks.words import asks_for, waits_for
from planning.cures.models import Demould
from planning.pours.models import Pour, PourStatus
from planning.schedule.because import plan_since
from shared import clock
from shop import stores

SHOWN_FOR = timedelta(days=21)
"""Temperatures after that are not looked at any more: a casting cures for days."""
MOST_SCRAPPED = 50
"""So many of the site's newest scrapped pots are looked through for those of a pour."""
PICTURE_WIDTH = 800
PICTURE_HEIGHT = 240
LEFT, BOTTOM, TOP = 50, 30, 12


def lifts_of(pour: Pour, now: datetime) -> list[dict[str, Any]]:
    """Return each lift with its clock, the state of that clock, and what it rests on."""
    lifts = list(Lift.objects.filter(pour=pour).select_related("place").order_by("number"))
    cures = {cure.lift_id: cure for cure in Cure.objects.filter(lift__pour=pour)}
    return [_lift_row(lift, cures.get(lift.pk), now) for lift in lifts]


def _lift_row(lift: Lift, cure: Cure | None, now: datetime) -> dict[str, Any]:
    row: dict[str, Any] = {"lift": lift, "cure": cure, "state": _state(lift, cure, now)}
    if cure is None:
        return row
    ranges = {name: _range(cure, name) for name in cure.ranges} if cure.ranged else {}
    return {
        **row,
        "waits_for": waits_for(cure),
        "asks": asks_for(cure) if cure.done_at is None else [],
        "ranges": {name: found for name, found in ranges.items() if found},
        "holes": [_hole(cure, hole) for hole in cure.holes],
    }


def _at(cure: Cure, hours: float | None) -> datetime | None:
    return None if hours is None else cure.poured_at + timedelta(hours=hours)


def _range(cure: Cure, name: str) -> dict[str, datetime | None] | None:
    early, late = (_at(cure, hours) for hours in cure.ranges[name])
    return None if early is None and late is None else {"early": early, "late": late}


def _hole(cure: Cure, hole: dict[str, float]) -> dict[str, Any]:
    return {
        "from_at": _at(cure, hole["from_h"]),
        "to_at": _at(cure, hole["to_h"]),
        "counted_c": Decimal(str(hole["counted_c"])),
    }


def _state(lift: Lift, cure: Cure | None, now: datetime) -> tuple[str, str]:
    if cure is None:
        return ("late", "Late") if lift.planned_start < now else ("planned", "Planned")
    if cure.done_at is not None:
        return "done", "Demoulded"
    if cure.passed(cure.demould_due_at, now):
        return "ready", "Cured and cool"
    if cure.waits_for == Waits.STALLED:
        return "late", "Too cold"
    if cure.passed(cure.cured_due_at, now):
        return "curing", "Cured, to be measured"
    if cure.peak_passed_at is None:
        return "curing", "Peak ahead"
    return "curing", "Curing"


def missing_of(pour: Pour, lifts: list[dict[str, Any]], now: datetime) -> dict[str, Any] | None:
    """Return what the plan does not know of: a mould or a lift not filled, or a window closed."""
    if pour.status != PourStatus.POURING or not lifts:
        return None
    if (half := half_poured(pour)) is not None:
        return _half_of(pour, half)
    cast = [row for row in lifts if row["cure"] is not None]
    if not cast:
        return None
    top = cast[-1]
    left_mm = open_mm(pour)
    since: datetime = top["cure"].poured_at
    closes = top["cure"].next_closes_at
    if left_mm >= FULL_MM:
        words = f"lift {lifts[-1]['lift'].number} ends {left_mm:.1f} mm below the top of the mould"
        lost = BatchEntry.objects.filter(
            portion__lift__pour=pour, kind__in=[EntryKind.SHORT, EntryKind.LEAK]
        ).order_by("recorded_at")
        found = lost.last()
        since = since if found is None else found.recorded_at
    elif closes is not None and closes <= now and not _abrades_next(lifts):
        words = f"lift {top['lift'].number} stopped bonding before the next one was poured"
        since = closes
    else:
        return None
    plan = plan_since(pour.order.site_id, since)
    return {
        "words": f"Pour {pour}: {words}",
        "since": since,
        "plan": plan,
        "rest": _rest(pour, lifts, now) if left_mm >= FULL_MM else None,
    }


def _half_of(pour: Pour, half: HalfPoured) -> dict[str, Any]:
    """Return what a half-poured lift lacks, known since its pot was given up."""
    scrapped = BatchEntry.objects.filter(
        batch__site=pour.order.site_id, kind=EntryKind.SCRAPPED, recorded_at__gte=half.poured_at
    ).order_by("-recorded_at")[:MOST_SCRAPPED]
    times = (row.recorded_at for row in scrapped if pour.pk in row.facts.get("pours", ()))
    since = next(times, half.poured_at)
    return {
        "words": f"Pour {pour}: lift {half.lift.number} holds {half.poured_kg:.3f} of "
        f"{half.lift.mass_kg:.3f} kg; no pot for the other {half.missing_kg:.3f} kg is planned",
        "since": since,
        "plan": plan_since(pour.order.site_id, since),
        "rest": None,
        "half": half,
    }


def _rest(pour: Pour, lifts: list[dict[str, Any]], now: datetime) -> dict[str, Any]:
    """Return what is missing at the top, and whether a pot may be mixed for it alone."""
    mm, kg = rest_of(pour)
    day = clock.local(now, pour.order.site).date()
    mixers = [mixer.least_kg for mixer in stores.site_week(pour.order.site_id, day, 1).mixers]
    of_mixers = min(mixers, default=Decimal(0))
    least = float(max(stores.system(pour.system_id).least_batch_kg, of_mixers))
    high = pour.pattern_height_mm
    return {
        "mm": mm,
        "kg": kg,
        "least_kg": least,
        "too_small": kg < least,
        "surplus_kg": max(0.0, least - kg),
        "cover_mm": None if high is None else float(pour.depth_mm) - mm - float(high),
        "all_cast": all(row["cure"] is not None for row in lifts),
    }


def _abrades_next(lifts: list[dict[str, Any]]) -> bool:
    waiting = [row["lift"] for row in lifts if row["cure"] is None]
    return not waiting or waiting[0].abrade_first


def batches_of(pour: Pour) -> list[Batch]:
    """Return the batches that go into a pour."""
    return list(
        Batch.objects.filter(portions__lift__pour=pour)
        .select_related("system")
        .distinct()
        .order_by("planned_start", "number")
    )


def demould_of(pour: Pour) -> Demould | None:
    """Return the record of taking it off, if it has been."""
    return Demould.objects.filter(pour=pour).select_related("by").first()


def readings_of(pour: Pour) -> list[TemperatureReading]:
    """Return the temperatures of a pour since its first lift was poured, and its shop's air."""
    first = Cure.objects.filter(lift__pour=pour).order_by("poured_at").first()
    if first is None:
        return []
    done = first.done_at
    end = done if done is not None else first.poured_at + SHOWN_FOR
    rows = TemperatureReading.objects.filter(
        site_id=pour.order.site_id, at__gte=first.poured_at, at__lte=end
    ).select_related("by", "wrong__by")
    return [row for row in rows.order_by("at", "id") if row.pour_id in (None, pour.pk)]


def stays_of(pour: Pour) -> list[OvenStay]:
    """Return when a casting was in an oven, what was marked wrong included."""
    return list(OvenStay.objects.filter(pour=pour).select_related("by", "out_by", "wrong_by"))


def curve_of(readings: list[TemperatureReading]) -> dict[str, Any] | None:
    """Return temperatures over time as lines in a picture; none below two readings."""
    readings = [one for one in readings if not hasattr(one, "wrong")]
    if len(readings) < 2:
        return None
    start, end = readings[0].at, readings[-1].at
    span = max((end - start).total_seconds(), 1.0)
    low = min(float(r.celsius) for r in readings) - 2
    high = max(float(r.celsius) for r in readings) + 2

    def x(at: datetime) -> float:
        return LEFT + (PICTURE_WIDTH - LEFT - 8) * (at - start).total_seconds() / span

    def y(celsius: float) -> float:
        return TOP + (PICTURE_HEIGHT - TOP - BOTTOM) * (high - celsius) / (high - low)

    lines: dict[str, list[str]] = {}
    for reading in readings:
        point = f"{x(reading.at):.1f},{y(float(reading.celsius)):.1f}"
        lines.setdefault(reading.get_where_display(), []).append(point)
    return {
        "lines": [{"name": name, "points": " ".join(points)} for name, points in lines.items()],
        "ticks": [
            {"y": f"{y(value):.1f}", "words": f"{value:.0f} °C"}
            for value in (low + 2, (low + high) / 2, high - 2)
        ],
        "start": start,
        "end": end,
    }
