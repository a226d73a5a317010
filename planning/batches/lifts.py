"""Confirmed lifts, as the core writes them."""

from __future__ import annotations

from collections.abc import Iterable

from planning.core import plan as core
from planning.pours.models import Pour


def lifts_of(pours: Iterable[Pour]) -> list[core.Lift]:
    """
    The lifts as confirmed, put back on the layers they end at.

    Depth and mass are added up as the planner does it, to the last bit: a lift that differs there
    would seem to be another one, and move for nothing.
    """
    rows = []
    for pour in pours:
        layer = 0
        for lift in sorted(pour.lifts.all(), key=lambda lift: lift.number):
            first, depth = layer, 0.0
            while layer < len(pour.layers) and depth < float(lift.depth_mm) - 0.01:
                depth += pour.layers[layer]["depth_mm"]
                layer += 1
            part = pour.layers[first:layer]
            depth, mass = (sum(row[name] for row in part) for name in ("depth_mm", "mass_kg"))
            rows.append(core.Lift(str(pour.pk), lift.number - 1, first, layer, depth, mass))
    return rows
