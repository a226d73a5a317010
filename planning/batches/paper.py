"""What paper says of a batch and of a step: for printing, for freezing and for comparing."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from planning.batches.models import Batch
from planning.pours.models import PourStep

Said = dict[str, str]
"""Each thing that is printed, by what it is called there, as text."""

BATCH_PARTS = (
    "people",
    "mixer",
    "scale",
    "lines__container",
    "portions__lift__place",
    "portions__lift__pour__order",
)
"""What `batch_says` reads beside the batch itself; fetch it beforehand for many batches."""
STEP_PARTS = ("planned_people", "oven", "pour__order")


def batch_says(batch: Batch, zone: ZoneInfo) -> Said:
    """Return what the sheet says of a batch; what is recorded while working changes none of it."""
    lines = [
        f"{line.container.code} {line.target_kg:f} kg ({line.low_kg:f} to {line.high_kg:f})"
        for line in batch.lines.all()
    ]
    into = [
        f"{p.lift.pour} lift {p.lift.number} {p.kg:.4f} kg at {clock_of(p.planned_start, zone)}"
        for p in batch.portions.all()
    ]
    places = {f"{p.lift.place or 'no place'}" for p in batch.portions.all()}
    return {
        "name": f"Batch {batch.number}",
        "day": day_of(batch.planned_start, zone),
        "start": clock_of(batch.planned_start, zone),
        "first contact": clock_of(batch.planned_contact, zone),
        "pour end": clock_of(batch.planned_pour_end, zone),
        "end": clock_of(batch.planned_end, zone),
        "pot life": f"{batch.pot_life_min} min",
        "mix": "as warm as the shop" if batch.mix_c is None else f"{batch.mix_c:f} °C",
        "mixer": f"{batch.mixer or 'no mixer'}",
        "scale": f"{batch.scale or 'no scale'}",
        "weights": "; ".join(lines),
        "into": "; ".join(into),
        "place": ", ".join(sorted(places)),
        "people": ", ".join(sorted(person.name for person in batch.people.all())),
    }


def step_says(step: PourStep, zone: ZoneInfo) -> Said:
    """Return what the sheet says of a step of work."""
    return {
        "name": f"{step.pour}: {step.name}",
        "day": day_of(step.planned_start, zone),
        "from": clock_of(step.planned_start, zone),
        "until": clock_of(step.planned_end, zone),
        "oven": f"{step.oven or 'no oven'}",
        "oven from": clock_of(step.oven_start, zone),
        "people": ", ".join(sorted(person.name for person in step.planned_people.all())),
    }


def clock_of(moment: datetime | None, zone: ZoneInfo) -> str:
    """Return the clock time at the site."""
    return "no time" if moment is None else f"{moment.astimezone(zone):%H:%M}"


def day_of(moment: datetime | None, zone: ZoneInfo) -> str:
    """Return the day at the site."""
    return "no day" if moment is None else f"{moment.astimezone(zone):%a %d %b %Y}"
