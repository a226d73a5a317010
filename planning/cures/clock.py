"""The clock of one lift, from its plan and from the temperatures really seen."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from planning.core.arrhenius import time_at_age
from planning.core.cure import cure_clock
from planning.cures.models import TemperatureReading
from planning.system_data import system_data
from planning.week_plan.models import Lift
from shop import stores


def clock_of(
    lift: Lift, poured_at: datetime, readings: Sequence[TemperatureReading]
) -> dict[str, Any]:
    """
    Return when a lift peaks, may be poured upon, still bonds, and may be demoulded.

    Peak and gaps are those the plan was made with, moved by equivalent age from the temperature
    expected then. Demoulding is the later of data sheet and kinetics over the record. Until a
    temperature is seen the expected one counts; after the last one seen, the cooler of that and
    the expected one is taken to last.
    """
    system = system_data(stores.system(lift.pour.system_id))
    expected = float(lift.expected_c)
    hours, temps = _record(poured_at, readings, expected)
    then_c = min(temps[-1], expected)

    def after(planned_min: int) -> datetime:
        at_h = time_at_age(planned_min / 60, hours, temps, then_c, expected, system.usual_e_j_mol)
        return poured_at + timedelta(minutes=round(60 * at_h))

    clock = cure_clock(system, hours, temps, then_c)
    due = clock.due_h
    # Where the cure stalls, the data sheet's time still stands as the earliest, and is said so.
    due_h = due.value if due.value is not None else due.datasheet
    due_at = after(lift.gap_least_min)
    if due_h is not None:
        due_at = poured_at + timedelta(minutes=round(60 * due_h))
    hottest = max((r.celsius for r in readings if r.where == "core"), default=None)
    return {
        "peak_due_at": after(lift.attend_min),
        "next_opens_at": after(lift.gap_least_min),
        "next_closes_at": after(lift.gap_greatest_min),
        "demould_due_at": due_at,
        "basis": _basis(due.basis, clock.stalls, len(readings), expected),
        "peak_c": hottest if hottest is None else Decimal(hottest),
    }


def _basis(which: str, stalls: bool, seen: int, expected: float) -> str:
    source = {"datasheet": "data sheet time", "computed": "computed cure"}.get(which, "gap")
    over = f"over {seen} temperatures seen" if seen else f"at {expected:g} °C expected in the shop"
    words = f"{source}, the later of the two known, {over}"
    if stalls:
        words += "; the cure stalls before it is done at this temperature: warm the casting"
    return words


def _record(
    poured_at: datetime, readings: Sequence[TemperatureReading], expected_c: float
) -> tuple[list[float], list[float]]:
    """Hours since pouring and temperatures; one before pouring counts as at pouring."""
    rows: dict[float, float] = {}
    for reading in readings:
        hour = max(0.0, (reading.at - poured_at).total_seconds() / 3600)
        rows[hour] = float(reading.celsius)
    if 0.0 not in rows:
        # The air of the first hour tells of the start; a casting's own heat does not.
        airy = bool(readings) and readings[0].where == "air" and min(rows) <= 1
        rows[0.0] = rows[min(rows)] if airy else expected_c
    hours = sorted(rows)
    return hours, [rows[h] for h in hours]
