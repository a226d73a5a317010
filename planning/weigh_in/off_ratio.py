"""Writes: what a pot that was mixed outside its ratio means for its castings."""

from __future__ import annotations

from typing import Any

from planning.batches.models import Batch, BatchEntry, BatchStatus
from planning.weigh_in.contents import ratio_off
from planning.weigh_in.quarantine import quarantine_castings


def facts_of(batch: Batch) -> dict[str, Any]:
    """Return which component is furthest off, and by how much, as an entry of the log keeps it."""
    off = ratio_off(batch)
    if off is None:
        return {}
    return {
        "off_percent": round(off.percent, 2),
        "off_component": off.name,
        "tolerance_percent": off.tolerance_percent,
    }


def judge(entry: BatchEntry) -> None:
    """Quarantine the castings of a pot that was mixed outside its ratio."""
    off = entry.facts.get("off_percent")
    tolerance = entry.facts.get("tolerance_percent", 0.0)
    if off is None or entry.batch.status == BatchStatus.SCRAPPED or abs(off) <= tolerance:
        return
    words = meaning(off, tolerance, entry.facts["off_component"])
    quarantine_castings(entry=entry, words=words, now=entry.recorded_at)


def meaning(off_percent: float, tolerance_percent: float, component: str) -> str:
    """Say what a ratio that was wrong means for the casting."""
    much = "much" if off_percent > 0 else "little"
    return (
        f"The pot had {abs(off_percent):.1f} % too {much} {component}; "
        f"± {tolerance_percent:g} % is allowed. It may never cure through, stay soft or brittle, "
        "and take less heat than planned: its cure is doubtful whatever its clock says. Measure "
        "hardness at several places before anything else, and plan it anew."
    )
