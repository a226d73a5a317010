"""How warm it has been around a lift since pouring, from readings with holes between them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime

from planning.clocks.models import TemperatureReading

SURROUNDINGS = ("air", "oven")
"""Readings of what is around a casting; all others are of the casting, warmed by its own heat."""
HOLE_H = 2.0
"""Longer without a reading, a room may have cooled and warmed again unseen. Common practice."""
STEP_H = 1e-6
"""A temperature that jumps is written as a rise this short, because times must rise."""

Choice = Callable[[Iterable[float]], float]


@dataclass(frozen=True)
class Record:
    """Hours from pouring and temperatures, C; after the last one `then_c` is taken to stay."""

    hours: tuple[float, ...]
    temps_c: tuple[float, ...]
    then_c: float


def around(readings: Iterable[TemperatureReading], poured_at: datetime, expected_c: float, *,
           colder: bool) -> Record:  # fmt: skip
    """
    Return the surroundings since pouring, on the cold side or on the warm side.

    Where nothing was read for longer than `HOLE_H`, and after the last reading, the colder
    (warmer) of the readings beside the hole and the temperature expected is taken to have lasted.
    The order of the readings does not matter; of two at one moment the colder (warmer) counts.
    """
    rows = [r for r in readings if r.where in SURROUNDINGS]
    return _filled(_by_hour(rows, poured_at, min if colder else max), expected_c, colder=colder)


def own_cold(
    readings: Iterable[TemperatureReading], poured_at: datetime, expected_c: float
) -> Record | None:
    """
    Return a casting's own readings where they are colder than expected; none without any.

    A casting warmer than its surroundings is warmed by the heat its plan already counts, so a
    warm reading never counts as a warm shop. A cold one says that it stands colder than thought.
    """
    rows = [r for r in readings if r.where not in SURROUNDINGS and r.at >= poured_at]
    found = {h: min(t, expected_c) for h, t in _by_hour(rows, poured_at, min).items()}
    return _filled(found, expected_c, colder=True) if found else None


def _by_hour(
    rows: list[TemperatureReading], poured_at: datetime, choose: Choice
) -> dict[float, float]:
    """Temperatures by hour from pouring; the last one before pouring counts as at pouring."""
    found: dict[float, list[float]] = {}
    before: list[tuple[float, float]] = []
    for row in rows:
        hour = (row.at - poured_at).total_seconds() / 3600
        celsius = float(row.celsius)
        if hour < 0:
            before.append((hour, celsius))
        else:
            found.setdefault(hour, []).append(celsius)
    if before and 0.0 not in found:
        last = max(hour for hour, _ in before)
        if last >= -HOLE_H:
            found[0.0] = [celsius for hour, celsius in before if hour == last]
    return {hour: choose(temps) for hour, temps in sorted(found.items())}


def _filled(rows: dict[float, float], expected_c: float, *, colder: bool) -> Record:
    choose: Choice = min if colder else max
    if not rows:
        return Record((0.0,), (expected_c,), expected_c)
    seen = sorted(rows.items())
    hours, temps = [0.0], [rows.get(0.0, choose((expected_c, seen[0][1])))]
    for hour, celsius in seen:
        if hour == 0.0:
            continue
        if hour - hours[-1] > HOLE_H:
            held = choose((temps[-1], celsius, expected_c))
            hours += [hours[-1] + STEP_H, hour - STEP_H]
            temps += [held, held]
        hours.append(hour)
        temps.append(celsius)
    return Record(tuple(hours), tuple(temps), choose((temps[-1], expected_c)))
