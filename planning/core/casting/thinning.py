"""Of a logger that writes every few seconds, the readings that tell something."""

from __future__ import annotations

import math
from collections.abc import Sequence

from planning.core.casting.clock_types import Reading

MANY = 300
"""More readings of one place than these are thinned."""


def thinned(readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """
    Return the readings of each place, of many only the middle one of every ten minutes.

    A logger that writes every few seconds tells no more, and would take seconds to be looked
    at. Of two in the middle the warmer counts. The order of entry does not matter.
    """
    by_place: dict[str, list[Reading]] = {}
    for reading in readings:
        by_place.setdefault(reading.where, []).append(reading)
    kept: list[Reading] = []
    for rows in by_place.values():
        if len(rows) <= MANY:
            kept += rows
            continue
        stretches: dict[int, list[Reading]] = {}
        for row in rows:
            stretches.setdefault(math.floor(6 * row.hour), []).append(row)
        for some in stretches.values():
            some.sort(key=lambda row: (row.celsius, row.hour, row.height_mm or -1.0))
            kept.append(some[len(some) // 2])
    return tuple(kept)
