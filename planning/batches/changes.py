"""What a sheet says now and did not say when it was printed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any
from zoneinfo import ZoneInfo

from planning.batches.models import Batch, SheetPrint
from planning.batches.paper import batch_says, step_says
from planning.pours.models import PourStep
from shared.access.models import Site

Planned = dict[str, dict[str, str]]
"""By batch or step: its name and, each as text, what is planned of it."""


def planned_of(site: Site, batches: Iterable[Batch], steps: Iterable[PourStep]) -> Planned:
    """Return what is planned for a day; what is recorded while working changes none of it."""
    zone = ZoneInfo(site.time_zone)
    found = {f"batch:{batch.number}": batch_says(batch, zone) for batch in batches}
    found.update({f"step:{step.pk}": step_says(step, zone) for step in steps})
    return found


def last_print(site: Site, day: Any) -> SheetPrint | None:
    """Return the newest printing of a day's sheet."""
    return SheetPrint.objects.filter(site=site, day=day).select_related("by").first()


def changes_since(printed: Mapping[str, Mapping[str, str]], now: Planned) -> list[str]:
    """Return in words what differs from the paper: new, gone, or another time, weight, person."""
    found = [f"{now[key]['name']} is new." for key in now if key not in printed]
    for key, was in printed.items():
        if key not in now:
            found.append(f"{was['name']} is no longer on this day.")
            continue
        for what, value in now[key].items():
            # Sheets printed by an earlier version noted less; what they did not note is not told.
            if what != "name" and was.get(what, value) != value:
                found.append(f"{was['name']}: {what} {value} instead of {was[what]}.")
    return found
