"""
By when a pot must be poured: the one answer that page, Today, sheet, reminder and API give.

It counts from first contact, really recorded or planned, and is the shorter of the planned pot
life and the one at the warmest temperature really seen: of the components, the pot or the air.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import lru_cache

from planning.batches.models import Batch
from planning.clocks.models import TemperatureReading
from planning.core.casting.pot_life import pot_life_min
from planning.core.casting.system import SystemData
from planning.system_data import system_data
from shop import stores
from shop.stores_types import SystemInfo

READ_BEFORE = timedelta(hours=4)
"""A temperature of the air seen longer before first contact says nothing of the pot."""
HOTTEST_C = 60
"""Hotter than this a pot is reacting; its life is counted as at this temperature."""
MASS_STEP_KG = 0.5
ROWS_ON_PAPER = 10
WARM = ("air_c", "mix_c", "pot_c")

Seen = tuple[datetime, float]


@dataclass(frozen=True)
class Deadline:
    """
    The end of a pot's life.

    Attributes
    ----------
    pot_life_min : int
        From first contact, min, rounded down.
    basis : str
        What it rests on, in words.
    counts_from, pour_by : datetime
        First contact, recorded or planned, and the end of the pot life.
    """

    pot_life_min: int
    basis: str
    counts_from: datetime
    pour_by: datetime


def deadline_of(batch: Batch) -> Deadline:
    """Return by when one batch must be poured."""
    return deadlines([batch])[batch.pk]


def deadlines(
    batches: Iterable[Batch], infos: Iterable[SystemInfo] | None = None
) -> dict[int, Deadline]:
    """
    Return by when each batch must be poured; entries are read from what is prefetched.

    `infos` are their resin systems where the caller has read them already.
    """
    rows = list(batches)
    if not rows:
        return {}
    found = stores.systems({batch.system_id for batch in rows}) if infos is None else infos
    systems = {info.id: info for info in found}
    air = _air(rows)
    return {
        batch.pk: _deadline(batch, systems[batch.system_id], air.get(batch.site_id, ()))
        for batch in rows
    }


def life_at(info: SystemInfo, mass_kg: Decimal, celsius: float) -> tuple[int | None, str]:
    """
    Return the pot life at a temperature, min rounded down, and whose figure it is.

    The temperature counts as the next whole degree above and the mass as the next half kilogram:
    both shorten it, and one table on paper then says the same as the page.
    """
    warm_c = min(HOTTEST_C, math.ceil(celsius))
    heavy_kg = math.ceil(float(mass_kg) / MASS_STEP_KG) * MASS_STEP_KG
    return _life(system_data(info), warm_c, heavy_kg)


def _minutes_at(batch: Batch, info: SystemInfo, celsius: float) -> tuple[int, str]:
    """Return a batch's pot life at a temperature, never longer than planned, and its basis."""
    live, source = life_at(info, batch.mixed_kg, celsius)
    if live is None or live >= batch.pot_life_min:
        return batch.pot_life_min, batch.pot_life_basis
    return live, f"shorter than planned: {source} at the measured {celsius:g} °C"


def minutes_by_temperature(
    batch: Batch, info: SystemInfo, expected_c: Decimal
) -> list[tuple[int, int]]:
    """
    Return what paper, which is not live, says instead: °C of the mix, and min to pour by.

    Rows run from the expected temperature of the shop in steps of two degrees, at most
    `ROWS_ON_PAPER` of them. A warmer row never has longer than a colder one: where the computed
    pot life has a dip, paper keeps to it.
    """
    found: list[tuple[int, int]] = []
    least = batch.pot_life_min
    for celsius in range(math.floor(expected_c), HOTTEST_C, 2)[:ROWS_ON_PAPER]:
        least = min(least, _minutes_at(batch, info, celsius)[0])
        found.append((celsius, least))
    return found


@lru_cache(maxsize=2000)
def _life(system: SystemData, celsius: int, mass_kg: float) -> tuple[int | None, str]:
    limit = pot_life_min(system, celsius, mass_kg)
    if limit.value is None:
        return None, ""
    return int(limit.value), "data sheet's" if limit.basis == "datasheet" else "computed"


def _deadline(batch: Batch, info: SystemInfo, air: Sequence[Seen]) -> Deadline:
    contact = batch.contact_at or batch.planned_contact
    minutes, basis = batch.pot_life_min, batch.pot_life_basis
    warmest = _warmest(batch, contact, air)
    if warmest is not None:
        minutes, basis = _minutes_at(batch, info, warmest)
    return Deadline(minutes, basis, contact, contact + timedelta(minutes=minutes))


def _warmest(batch: Batch, contact: datetime, air: Sequence[Seen]) -> float | None:
    """Return the warmest of the last seen before contact and all seen while the pot lives."""
    own = [
        (entry.at, max(float(entry.facts[name]) for name in WARM if name in entry.facts))
        for entry in batch.entries.all()
        if any(name in entry.facts for name in WARM)
    ]
    near = [row for row in air if contact - READ_BEFORE <= row[0]]
    over = contact + timedelta(minutes=batch.pot_life_min)
    # Before first contact nothing lives yet: the newest of each source counts, whenever it is.
    until = contact if batch.contact_at is not None else datetime.max.replace(tzinfo=UTC)
    found = []
    for rows in (own, near):
        before = [celsius for at, celsius in rows if at <= until]
        found += before[-1:]
        found += [celsius for at, celsius in rows if until < at <= over]
    return max(found, default=None)


def _air(batches: Sequence[Batch]) -> Mapping[int, list[Seen]]:
    starts = [(b.contact_at or b.planned_contact) for b in batches]
    rows = TemperatureReading.objects.filter(
        wrong__isnull=True,
        site__in={batch.site_id for batch in batches},
        pour=None,
        where="air",
        at__gte=min(starts) - READ_BEFORE,
        at__lte=max(starts) + timedelta(days=1),
    ).order_by("at")
    found: dict[int, list[Seen]] = {}
    for row in rows:
        found.setdefault(row.site_id, []).append((row.at, float(row.celsius)))
    return found
