"""Reads: the shop's own hands-on times, by kind of step."""

from __future__ import annotations

import re
from collections import defaultdict

from planning.core.step_times import Pace, pace_of
from planning.pours.models import PourStep

NEWEST = 40
"""So many of the newest records of a kind count; a shop that has learned is not held back."""
MOST_READ = 4000


def kind_of(name: str) -> str:
    """Return what alike steps have in common: 'Paste wax, coat 2 of 5' is a coat of paste wax."""
    return re.sub(r"\s+\d+ of \d+$", "", name).strip()


def paces(site_id: int) -> dict[str, Pace]:
    """Return how each kind of step goes at a site, from the newest records; one query."""
    rows = (
        PourStep.objects.filter(
            pour__order__site_id=site_id,
            done_at__isnull=False,
            took_min__gt=0,
            hands_min__gt=0,
        )
        .order_by("-done_at", "-pk")
        .values_list("name", "took_min", "hands_min")[:MOST_READ]
    )
    records: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for name, took, template in rows:
        kind = kind_of(name)
        if len(records[kind]) < NEWEST:
            records[kind].append((float(took or 0), float(template)))
    return {kind: pace_of(pairs) for kind, pairs in records.items()}


def words_of(pace: Pace, template_min: int) -> str:
    """Return what an estimate rests on, in one sentence."""
    if pace.median is None:
        return "From the template; nothing is recorded yet."
    slips = f", {pace.left_out} left out as slips" if pace.left_out else ""
    middle = f"middle {template_min * pace.median:.0f} min"
    if pace.factor == 1.0 and pace.records < 3:
        return f"From the template; {pace.records} recorded ({middle}){slips}, 3 are needed."
    return f"{pace.records} recorded, {middle}{slips}, drawn towards the template's value."
