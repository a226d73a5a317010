"""The clock of one lift, from its plan and from the temperatures really seen."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from planning.batches.models import Lift
from planning.clocks.models import TemperatureReading
from planning.clocks.record import Record, around, own_cold
from planning.core.casting.arrhenius import time_at_age
from planning.core.casting.cure import cure_clock
from planning.system_data import system_data
from shop import stores


def clock_of(
    lift: Lift, poured_at: datetime, readings: Sequence[TemperatureReading]
) -> dict[str, Any]:
    """
    Return when a lift peaks, may be poured upon, still bonds, and may be demoulded.

    Peak and gaps are those the plan was made with, moved by equivalent age from the temperature
    expected then; demoulding is the later of data sheet and kinetics. The plan's times already
    count the casting's own heat, so only the air around it can make them earlier; its own
    temperature can make them later, never earlier. Everything that opens stands on the cold side
    of what the readings leave open, the end of the bond window on the warm side.
    """
    system = system_data(stores.system(lift.pour.system_id))
    expected = float(lift.expected_c)
    cold = [around(readings, poured_at, expected, colder=True)]
    own = own_cold(readings, poured_at, expected)
    cold += [] if own is None else [own]
    warm = around(readings, poured_at, expected, colder=False)

    def after(planned_min: int, record: Record) -> datetime:
        at_h = time_at_age(
            planned_min / 60,
            record.hours,
            record.temps_c,
            record.then_c,
            expected,
            system.usual_e_j_mol,
        )
        return poured_at + timedelta(minutes=round(60 * at_h))

    clocks = [cure_clock(system, one.hours, one.temps_c, one.then_c) for one in cold]
    opens_at = max(after(lift.gap_least_min, one) for one in cold)
    # Where the cure stalls, the data sheet's time still stands as the earliest, and is said so.
    hours = [h for c in clocks for h in (c.due_h.value, c.due_h.datasheet) if h is not None]
    due_at = poured_at + timedelta(minutes=round(60 * max(hours))) if hours else opens_at
    hottest = max((r.celsius for r in readings if r.where == "core"), default=None)
    stalls = any(clock.stalls for clock in clocks)
    return {
        "peak_due_at": max(after(lift.attend_min, one) for one in cold),
        "next_opens_at": opens_at,
        "next_closes_at": after(lift.gap_greatest_min, warm),
        "demould_due_at": due_at,
        "basis": _basis(clocks[0].due_h.basis, stalls, len(readings), expected),
        "peak_c": hottest if hottest is None else Decimal(hottest),
    }


def _basis(which: str, stalls: bool, seen: int, expected: float) -> str:
    source = {"datasheet": "data sheet time", "computed": "computed cure"}.get(which, "gap")
    over = f"over {seen} temperatures seen" if seen else f"at {expected:g} °C expected in the shop"
    words = f"{source}, the later of the two known, {over}"
    if stalls:
        words += "; the cure stalls before it is done at this temperature: warm the casting"
    return words
