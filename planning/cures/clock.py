"""The clock of one lift from what is known: the data sheet, and the temperatures seen."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from planning.core.arrhenius import time_at_age
from planning.core.system import TimePoint
from planning.cures.models import TemperatureReading
from planning.system_data import system_data
from planning.week_plan.models import Lift
from shop import stores


def clock_of(
    lift: Lift, poured_at: datetime, readings: Sequence[TemperatureReading]
) -> dict[str, Any]:
    """
    Return when a lift peaks, may be poured upon, still bonds, and may be demoulded.

    Until a temperature is seen the day's expected one counts; after the last one seen, the cooler
    of that and the expected one is taken to last. Times are the data sheet's, by equivalent age.
    """
    pour = lift.pour
    system = system_data(stores.system(pour.system_id))
    sheet = system.datasheet
    site = pour.order.site
    day = poured_at.astimezone(ZoneInfo(site.time_zone)).date()
    expected = float(stores.site_week(site.pk, day, 1).expected_c[day])
    times, temps = _record(poured_at, readings, expected)
    then_c = min(temps[-1], expected)

    def after(point: TimePoint | None) -> datetime | None:
        if point is None:
            return None
        minutes = time_at_age(point.minutes, times, temps, then_c, point.temp_c, system.e_j_mol)
        return poured_at + timedelta(minutes=round(minutes))

    gel = after(sheet.gel) or after(sheet.pot_life) or poured_at
    opens = after(sheet.least_gap) or gel
    seen = len(readings)
    basis = (
        f"data sheet times by equivalent age over {seen} temperatures seen"
        if seen
        else f"data sheet times shifted to {expected:g} °C expected in the shop"
    )
    hottest = max((r.celsius for r in readings if r.where == "core"), default=None)
    return {
        "peak_due_at": gel,
        "next_opens_at": opens,
        "next_closes_at": after(sheet.greatest_gap),
        "demould_due_at": after(sheet.demould) or opens,
        "basis": basis,
        "peak_c": hottest if hottest is None else Decimal(hottest),
    }


def _record(
    poured_at: datetime, readings: Sequence[TemperatureReading], expected_c: float
) -> tuple[list[float], list[float]]:
    """Minutes since pouring and temperatures; one before pouring counts as at pouring."""
    rows: dict[float, float] = {}
    for reading in readings:
        minute = max(0.0, (reading.at - poured_at).total_seconds() / 60)
        rows[minute] = float(reading.celsius)
    if 0.0 not in rows:
        # The air of the first hour tells of the start; a casting's own heat does not.
        airy = bool(readings) and readings[0].where == "air" and min(rows) <= 60
        rows[0.0] = rows[min(rows)] if airy else expected_c
    times = sorted(rows)
    return times, [rows[t] for t in times]
