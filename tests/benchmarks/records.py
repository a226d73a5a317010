"""Random sensor records of random lifts, as shops log them: gaps, slips, fallen sensors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planning.core.casting.clock_types import Reading
from tests.benchmarks.true_lifts import Truth

KINDS = ("air", "core", "surface", "core and air", "surface and air")
FEW_SHARE = 0.1
EVERY_H = (1 / 60, 1 / 6, 0.5, 1.0, 2.0, 4.0)


@dataclass(frozen=True)
class Record:
    """What a shop wrote down of one lift."""

    kind: str
    few: bool
    """Nobody read more than three times in all."""
    every_h: float
    readings: tuple[Reading, ...]
    mix_c: float | None
    height_mm: float


def random_record(rng: np.random.Generator, truth: Truth, kind: str) -> Record:
    """Draw a record of a kind until long after the lift is done."""
    until = min(truth.demould_h * 2.5 + 24, truth.hours[-1], 120.0)
    every = float(rng.choice(EVERY_H, p=[0.1, 0.15, 0.15, 0.3, 0.15, 0.15]))
    places, few = kind.split(" and "), bool(rng.random() < FEW_SHARE)
    height = float(np.clip(truth.depth_mm * rng.uniform(0.3, 0.7), 0, truth.depth_mm))
    readings: list[Reading] = []
    for place in places:
        first = rng.uniform(2, 6) if rng.random() < 0.2 else rng.uniform(0, 0.5)
        hours = np.arange(first, until, every)
        if few:
            most = 4 if len(places) == 1 else 2
            hours = np.sort(rng.uniform(0, truth.demould_h, rng.integers(1, most)))
        elif rng.random() < 0.4:
            begins = rng.uniform(1, max(2.0, 0.8 * truth.demould_h))
            hours = hours[(hours < begins) | (hours > begins + rng.uniform(6, 14))]
        readings += _read(rng, truth, place, hours, height)
    mix = truth.mix_c + rng.normal(0, 1.0) if rng.random() < 0.7 else None
    return Record(kind, few, every, tuple(readings), mix, height)


def _read(
    rng: np.random.Generator, truth: Truth, place: str, hours: np.ndarray, height: float
) -> list[Reading]:
    offset, moved = rng.uniform(-1, 1), rng.uniform(-5, 5)
    really = float(np.clip(height + moved, 0, truth.depth_mm))
    fallen = rng.uniform(1, max(2.0, truth.demould_h)) if rng.random() < 0.07 else np.inf
    door = rng.uniform(0, truth.demould_h) if rng.random() < 0.25 else np.inf
    typed = rng.integers(0, len(hours)) if len(hours) and rng.random() < 0.1 else -1
    found = []
    for i, hour in enumerate(hours.tolist()):
        air = truth.around_c(hour)
        in_oven = truth.oven is not None and truth.oven[0] <= hour < truth.oven[1]
        if place == "air" or hour >= fallen:
            value = air
            if door <= hour < door + 0.4:
                value = air - 8.0
        elif place == "core":
            value = truth.at(hour, really)
        else:
            value = truth.at(hour, truth.depth_mm)
        value += offset + rng.normal(0, 0.3)
        if i == typed:
            value = value * 1.8 + 32
        where = "oven" if place == "air" and in_oven else place
        tall = height if place == "core" else None
        found.append(Reading(round(hour, 4), round(float(value), 1), where, tall))
    return found
