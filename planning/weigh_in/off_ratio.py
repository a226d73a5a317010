"""Writes: what a pot that was mixed outside its ratio means for its castings."""

from __future__ import annotations

from typing import Any

from planning.batches.models import Batch, BatchEntry, BatchStatus
from planning.weigh_in.contents import ratio_off_percent
from planning.weigh_in.quarantine import quarantine_castings
from shop import stores


def facts_of(batch: Batch) -> dict[str, Any]:
    """Return how far the hardener is off as an entry of the log keeps it."""
    off = ratio_off_percent(batch)
    return {} if off is None else {"off_percent": round(off, 2)}


def judge(entry: BatchEntry) -> None:
    """Quarantine the castings of a pot that was mixed outside its ratio."""
    off = entry.facts.get("off_percent")
    tolerance = stores.system(entry.batch.system_id).ratio_tolerance_percent
    if off is None or entry.batch.status == BatchStatus.SCRAPPED or abs(off) <= tolerance:
        return
    quarantine_castings(entry=entry, words=meaning(off, float(tolerance)), now=entry.recorded_at)


def meaning(off_percent: float, tolerance_percent: float) -> str:
    """Say what a ratio that was wrong means for the casting."""
    much = "much" if off_percent > 0 else "little"
    return (
        f"The pot had {abs(off_percent):.1f} % too {much} hardener; ± {tolerance_percent:g} % is "
        "allowed. It may never cure through, stay soft or brittle, and take less heat than "
        "planned: its cure is doubtful whatever its clock says. Measure hardness at several "
        "places before anything else, and plan it anew."
    )
