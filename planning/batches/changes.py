"""What a sheet says now and did not say when it was printed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from planning.batches.models import Batch, SheetPrint
from planning.pours.models import PourStep
from shared.access.models import Site

Planned = dict[str, dict[str, str]]
"""By batch or step: its name and, each as text, what is planned of it."""


def planned_of(site: Site, batches: Iterable[Batch], steps: Iterable[PourStep]) -> Planned:
    """Return what is planned for a day; what is recorded while working changes none of it."""
    zone = ZoneInfo(site.time_zone)
    found = {f"batch:{batch.number}": _batch(batch, zone) for batch in batches}
    found.update({f"step:{step.pk}": _step(step, zone) for step in steps})
    return found


def _at(moment: datetime | None, zone: ZoneInfo) -> str:
    return "no time" if moment is None else f"{moment.astimezone(zone):%H:%M}"


def _batch(batch: Batch, zone: ZoneInfo) -> dict[str, str]:
    lines = [f"{line.container.code} {line.target_kg:f} kg" for line in batch.lines.all()]
    into = [f"{p.lift.pour} lift {p.lift.number} {p.kg:.4f} kg" for p in batch.portions.all()]
    return {
        "name": f"Batch {batch.number}",
        "first contact": _at(batch.planned_contact, zone),
        "weights": "; ".join(lines),
        "into": "; ".join(into),
        "people": ", ".join(sorted(person.name for person in batch.people.all())),
    }


def _step(step: PourStep, zone: ZoneInfo) -> dict[str, str]:
    return {
        "name": f"{step.pour}: {step.name}",
        "from": _at(step.planned_start, zone),
        "people": ", ".join(sorted(person.name for person in step.planned_people.all())),
    }


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
            if what != "name" and was.get(what) != value:
                found.append(f"{was['name']}: {what} {value} instead of {was.get(what)}.")
    return found
