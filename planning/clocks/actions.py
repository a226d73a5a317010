"""Writes: start the clock of a poured lift, move it, end a lift lower."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import F, Min, Sum

from planning.batches.lifts import lifts_of
from planning.batches.models import Batch, BatchEntry, EntryKind, Lift
from planning.clocks.asking import changed, mark, of_pour, of_site, values_of
from planning.clocks.models import Cure, TemperatureReading, WrongReading
from planning.clocks.readings import ask_of
from planning.core.casting.plausible import from_fahrenheit
from planning.core.casting.short_lift import EDGE_MM, cut_at, level_without
from planning.core.problem import Layer
from planning.pours.models import Pour, PourStatus
from shared.change import change
from shared.errors import Invalid, ShopError
from shared.times import Event, happened

FULL_MM = 0.05
"""A mould that lacks less than this is full."""
LEAST_REASON = 3
LOWEST_C, HIGHEST_C = -30, 300
"""What any sensor of the shop can show, as the table holds it too."""


@transaction.atomic
def start_clock(*, lift: Lift, poured_at: datetime, now: datetime | None = None) -> Cure:
    """
    Start the clock of a lift whose last portion is in; a repeat changes nothing.

    It is worked out for `now`, the end of pouring unless said. The lifts below are covered from
    then on, so theirs are worked out again.
    """
    found = Cure.objects.filter(lift=lift).first()
    if found is not None:
        return found
    values = values_of(lift, poured_at, max(now or poured_at, poured_at))
    cure = Cure.objects.create(lift=lift, poured_at=poured_at, **values)
    pour = lift.pour
    changed(of_pour(pour).exclude(pk=cure.pk), max(now or poured_at, poured_at))
    status = PourStatus.CURING if _is_full(pour, lift) else PourStatus.POURING
    change(pour, status=status)
    return cure


def _is_full(pour: Pour, lift: Lift) -> bool:
    """Whether a lift is the last one and fills the mould."""
    if Lift.objects.filter(pour=pour, number__gt=lift.number).exists():
        return False
    return open_mm(pour) < FULL_MM


def open_mm(pour: Pour) -> float:
    """Return the depth of a pour that none of its lifts reaches, mm."""
    reached = pour.lifts.aggregate(mm=Sum("depth_mm"))["mm"] or 0
    return max(0.0, sum(row["depth_mm"] for row in pour.layers) - float(reached))


def rest_of(pour: Pour) -> tuple[float, float]:
    """Return what no lift of a pour reaches: depth, mm, and mass, kg."""
    reached = float(pour.lifts.aggregate(mm=Sum("depth_mm"))["mm"] or 0)
    below, kg = 0.0, 0.0
    for layer in cut_at([Layer(row["depth_mm"], row["mass_kg"]) for row in pour.layers], reached):
        below += layer.depth_mm
        if below > reached + EDGE_MM:
            kg += layer.mass_kg
    return open_mm(pour), kg


@transaction.atomic
def leave_lower(*, pour: Pour, reason: str, now: datetime, by: Any = None) -> Pour:
    """
    Take a casting that ends below the top of its mould as it is: no rest is planned any more.

    For a rest too small to be mixed by itself. The casting cures by the clocks of its lifts; how
    much lower it is, why, and who said so stand in the log of its last batch.
    """
    pour = Pour.objects.select_for_update().get(pk=pour.pk)
    left_mm, left_kg = rest_of(pour)
    waiting = pour.lifts.filter(cure__isnull=True).order_by("number").first()
    if pour.status != PourStatus.POURING or left_mm < FULL_MM or not pour.lifts.exists():
        raise ShopError(
            f"{pour} is {pour.get_status_display().lower()} and lacks {left_mm:.1f} mm; only a "
            f"casting being poured that lacks at least {FULL_MM} mm can be left lower.",
            code="not_lower",
        )
    if waiting is not None:
        raise ShopError(
            f"Lift {waiting.number} of {pour} is still to be poured; pour it, or have the week "
            "planned again, before the rest is given up.",
            code="lift_waits",
        )
    if len(reason.strip()) < LEAST_REASON:
        raise Invalid.one(
            "reason",
            "too_short",
            f"The reason is {reason.strip() or 'empty'}; write at least {LEAST_REASON} letters.",
        )
    reached = float(pour.lifts.aggregate(mm=Sum("depth_mm"))["mm"])
    layers, below = [], 0.0
    for layer in cut_at([Layer(row["depth_mm"], row["mass_kg"]) for row in pour.layers], reached):
        below += layer.depth_mm
        if below <= reached + EDGE_MM:
            layers.append({"depth_mm": layer.depth_mm, "mass_kg": layer.mass_kg})
    pour.layers, pour.status = layers, PourStatus.CURING
    pour.version += 1
    pour.save(update_fields=["layers", "status", "version"])
    batch = Batch.objects.filter(portions__lift__pour=pour).order_by("planned_start").last()
    if batch is not None:
        words = f"{pour} is left {left_mm:.1f} mm lower, {left_kg:.3f} kg less: {reason.strip()}"
        BatchEntry.objects.create(
            batch=batch,
            key=f"lower:{pour.pk}:{pour.version}",
            kind=EntryKind.REMARK,
            at=now,
            recorded_at=now,
            by=by,
            words=words[:400],
        )
    return pour


@transaction.atomic
def end_lower(*, lift: Lift, missing_kg: Decimal) -> Lift:
    """
    Let a lift end as much lower as its missing mass makes it; the rest waits to be planned.

    The lift keeps its own clock, for what is in the mould cures: from it the window runs in which
    the rest still bonds. A casting that was curing is being poured again.
    """
    pour = Pour.objects.select_for_update().get(pk=lift.pour_id)
    lifts = list(pour.lifts.order_by("number"))
    own = next(row for row in lifts_of([pour]) if row.lift == lift.number - 1)
    layers = [Layer(row["depth_mm"], row["mass_kg"]) for row in pour.layers]
    level = level_without(layers[own.first_layer : own.last_layer], float(missing_kg))
    height = sum(layer.depth_mm for layer in layers[: own.first_layer])
    above = [float(row.depth_mm) for row in lifts if row.number > lift.number]
    for depth in (level, *above):
        height += depth
        layers = list(cut_at(layers, height))
    pour.layers = [{"depth_mm": x.depth_mm, "mass_kg": x.mass_kg} for x in layers]
    pour.status = PourStatus.POURING if pour.status == PourStatus.CURING else pour.status
    pour.version += 1
    pour.save(update_fields=["layers", "status", "version"])
    Lift.objects.filter(pk=lift.pk).update(
        depth_mm=Decimal(repr(level)).quantize(Decimal("0.000001")),
        mass_kg=F("mass_kg") - missing_kg,
    )
    mark(Cure.objects.filter(lift=lift))
    lift.refresh_from_db()
    return lift


@transaction.atomic
def log_temperatures(
    *, site_id: int, rows: Iterable[dict[str, Any]], now: datetime, by: Any = None
) -> list[TemperatureReading]:
    """
    Write down temperatures really seen and move the clocks they bear on.

    A row gives `key`, `at`, `celsius` or `fahrenheit`, and as it likes `where`, `pour`,
    `height_mm`, `pointer` (of its fields, for refusals) and `confirmed`: without it an odd
    reading is refused with a question.
    """
    given = [dict(row) for row in rows]
    known = set(
        TemperatureReading.objects.filter(key__in=[row["key"] for row in given]).values_list(
            "key", flat=True
        )
    )
    kept = [_log(row, site_id, now, by) for row in given]
    _bear_on(site_id, [row for row in kept if row.key not in known], now)
    return kept


def _bear_on(site_id: int, readings: list[TemperatureReading], now: datetime) -> None:
    """Have the clocks worked out again on which some readings bear."""
    rows = of_site(site_id)
    if readings and all(row.pour_id is not None for row in readings):
        rows = rows.filter(lift__pour__in={row.pour_id for row in readings})
    if readings:
        changed(rows, now)


def _log(row: dict[str, Any], site_id: int, now: datetime, by: Any) -> TemperatureReading:
    row.setdefault("where", "air")
    stem = row.pop("pointer", "")
    found = TemperatureReading.objects.filter(key=row["key"]).first()
    if found is not None:
        return found
    pour = row.get("pour")
    at = happened(row["at"], now=now, field=f"{stem}at", after=_before_reading(pour, row["where"]))
    field = f"{stem}{_in_celsius(row, stem)}"
    if not LOWEST_C <= row["celsius"] <= HIGHEST_C:
        raise Invalid.one(
            field,
            "out_of_range",
            f"The temperature is {row['celsius']} °C; it must be {LOWEST_C} to {HIGHEST_C} °C.",
            value=row["celsius"],
            limit=f"{LOWEST_C} to {HIGHEST_C}",
            unit="°C",
        )
    confirmed = bool(row.get("confirmed"))
    if not confirmed:
        ask_of(row, at, site_id, field)
    return TemperatureReading.objects.create(
        key=row["key"],
        site_id=site_id,
        pour=pour,
        where=row["where"],
        at=at,
        celsius=row["celsius"],
        fahrenheit=row.get("fahrenheit"),
        height_mm=row.get("height_mm"),
        confirmed_at=now if confirmed else None,
        recorded_at=now,
        by=by,
    )


def _in_celsius(row: dict[str, Any], stem: str) -> str:
    """Convert a row given in °F, and return the field that holds the temperature."""
    given = row.get("fahrenheit")
    if (given is None) == (row.get("celsius") is None):
        raise Invalid.one(
            f"{stem}celsius", "one_unit", "Give the temperature once: celsius or fahrenheit."
        )
    if given is None:
        return "celsius"
    row["celsius"] = Decimal(str(round(from_fahrenheit(float(given)), 1)))
    return "fahrenheit"


@transaction.atomic
def mark_wrong(
    *, reading: TemperatureReading, reason: str, now: datetime, by: Any = None
) -> TemperatureReading:
    """Say that a temperature was not so; it stays to be seen, and the clocks do without it."""
    if len(reason.strip()) < LEAST_REASON:
        raise Invalid.one(
            "reason",
            "too_short",
            f"The reason is {reason.strip() or 'empty'}; write at least {LEAST_REASON} letters.",
        )
    _, new = WrongReading.objects.get_or_create(
        reading=reading, defaults={"reason": reason.strip(), "at": now, "by": by}
    )
    if new:
        _bear_on(reading.site_id, [reading], now)
    reading.refresh_from_db()
    return reading


def _before_reading(pour: Pour | None, where: str) -> list[Event]:
    """Return what a casting's own temperature follows: the first contact of its first pot."""
    if pour is None or where not in ("surface", "core"):
        return []
    first = Batch.objects.filter(portions__lift__pour=pour).aggregate(at=Min("contact_at"))["at"]
    return [(f"{pour} was mixed", first)]
