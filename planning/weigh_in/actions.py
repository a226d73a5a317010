"""Writes: what was weighed, when resin met hardener, what was poured, what went wrong."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import F, Max, Min, Sum

from planning.batches.lines import purpose
from planning.batches.models import (
    Batch,
    BatchEntry,
    BatchLine,
    BatchPortion,
    BatchStatus,
    EntryKind,
    Lift,
    Weighing,
)
from planning.clocks import actions as clocks
from planning.core.casting.dew_point import dew_point_c
from planning.core.casting.mixing import Correction, MixRatio, correct_overpour
from planning.pours.models import Pour, PourStatus
from planning.weigh_in.losses import leave_to_plan, take_from_lift
from shared import clock
from shared.errors import Invalid, ShopError
from shared.times import Event, happened
from shop import stores

OPEN = (BatchStatus.PLANNED, BatchStatus.WEIGHING, BatchStatus.WEIGHED)
"""Into a pot in these states more may be weighed."""


class WrongLot(ShopError):
    """A container that is not what the sheet asks for."""


class WeighedMeanwhile(ShopError):
    """A row into which somebody else has weighed since the caller last looked."""


class BatchFixed(ShopError):
    """A batch that is past the step asked for."""


@dataclass(frozen=True)
class Weighed:
    """A weighing, and what to do when the pot is now off its ratio."""

    weighing: Weighing
    correction: Correction | None
    ready: bool


@transaction.atomic
def record_weighing(
    *,
    line: BatchLine,
    weighed_kg: Decimal,
    key: str,
    at: datetime,
    now: datetime,
    by: Any = None,
    container_code: str = "",
    reason: str = "",
    already_kg: Decimal | None = None,
) -> Weighed:
    """
    Write down what went into the pot and issue it from stores. A repeat returns the first.

    `already_kg` is what the caller knows to be weighed into this row; where the row holds another
    mass by now, two people weigh for it and the second one is refused.
    """
    found = Weighing.objects.filter(key=key).select_related("line").first()
    if found is not None:
        if found.line_id != line.pk or found.weighed_kg != weighed_kg:
            raise ShopError(
                f"Key {key} was used for {found.weighed_kg} kg; a new weighing needs a new key.",
                code="key_reused",
            )
        return _weighed(found)
    batch = Batch.objects.select_for_update().get(pk=line.batch_id)
    if batch.status not in OPEN:
        raise BatchFixed(
            f"Batch {batch.number} is {batch.get_status_display().lower()}; nothing more can be "
            "weighed into it.",
            code="batch_fixed",
        )
    if weighed_kg <= 0:
        raise Invalid.one(
            "weighed_kg",
            "not_positive",
            f"weighed_kg is {weighed_kg} kg; it must be above 0 kg.",
            value=str(weighed_kg),
            limit="0",
            unit="kg",
        )
    if already_kg is not None:
        _same_as_seen(line, already_kg, weighed_kg)
    container_id = _container_for(line, container_code, reason)
    came = stores.received_at(container_id)
    at = happened(at, now=now, after=[("the container came in", came)], site=batch.site)
    weighing = Weighing.objects.create(
        line=line,
        key=key,
        container_id=container_id,
        weighed_kg=weighed_kg,
        at=at,
        recorded_at=now,
        by=by,
        reason=reason,
    )
    if container_id != line.container_id:
        stores.free_reservations(purposes=[purpose(line)])
    with _what_to_do():
        stores.issue(
            container_id=container_id,
            quantity=weighed_kg,
            key=f"weighing:{key}",
            counterpart=f"batch:{batch.pk}",
            purpose=purpose(line),
            happened_at=at,
            by=by,
            reason=reason,
        )
    result = _weighed(weighing)
    if result.ready:
        stores.free_reservations(prefix=f"batch:{batch.pk}:")
    status = BatchStatus.WEIGHED if result.ready else BatchStatus.WEIGHING
    if batch.status != status:
        Batch.objects.filter(pk=batch.pk).update(status=status, version=F("version") + 1)
    return result


@contextmanager
def _what_to_do() -> Iterator[None]:
    """Add to a refusal of the stores what the person at the scale can do about it."""
    try:
        yield
    except ShopError as error:
        if error.code == "not_enough_stock":
            error.message += (
                " Read the scale again. If so much really came out of it, its book is wrong: have "
                "the can counted on the Stock page, then record this again."
            )
            error.args = (error.message,)
        raise


def _same_as_seen(line: BatchLine, already_kg: Decimal, weighed_kg: Decimal) -> None:
    rows = list(line.weighings.select_related("by", "line__batch__site").order_by("at", "pk"))
    there = sum((row.weighed_kg for row in rows), Decimal(0))
    if there == already_kg or not rows:
        return
    last = rows[-1]
    who = "Somebody" if last.by is None else str(last.by)
    at = clock.local(last.at, last.line.batch.site)
    raise WeighedMeanwhile(
        f"{who} has recorded {last.weighed_kg.normalize():f} kg for this row at {at:%H:%M}; with "
        f"your {weighed_kg.normalize():f} kg it would hold {(there + weighed_kg).normalize():f} "
        "kg. If it is the same weighing, take yours back. If both are in the pot, record yours "
        "as well.",
        code="weighed_meanwhile",
        value=str(weighed_kg),
        limit=str(there),
        unit="kg",
    )


def _container_for(line: BatchLine, code: str, reason: str) -> int:
    """The container of the sheet, or another of the same material when a reason is given."""
    if not code:
        return line.container_id
    wanted = stores.container(line.container_id)
    if code == wanted.code:
        return line.container_id
    other = stores.container_by_code(line.batch.site_id, code)
    if other.material_id != wanted.material_id:
        raise WrongLot(
            f"{code} holds {other.material_name}; the sheet asks for {wanted.material_name} from "
            f"{wanted.code}. Fetch {wanted.code}.",
            code="wrong_material",
            asked=wanted.code,
        )
    if not reason:
        raise WrongLot(
            f"{code} is lot {other.lot_code}; the sheet asks for {wanted.code}, lot "
            f"{wanted.lot_code}. Fetch that, or give a reason to use {code} instead.",
            code="wrong_lot",
            asked=wanted.code,
        )
    return other.id


def weighed_kg(batch: Batch) -> dict[str, Decimal]:
    """Return what is in the pot so far, by role, kg."""
    rows = (
        Weighing.objects.filter(line__batch=batch)
        .values("line__role")
        .annotate(kg=Sum("weighed_kg"))
    )
    totals = {"resin": Decimal(0), "hardener": Decimal(0)}
    totals.update({row["line__role"]: row["kg"] for row in rows})
    return totals


def _weighed(weighing: Weighing) -> Weighed:
    batch = Batch.objects.select_related("scale", "mixer").get(pk=weighing.line.batch_id)
    lines = list(batch.lines.all())
    done = set(
        Weighing.objects.filter(line__batch=batch).values_list("line_id", flat=True).distinct()
    )
    if any(line.pk not in done for line in lines):
        return Weighed(weighing, None, False)
    correction = correction_of(batch)
    return Weighed(weighing, correction, correction is None or correction.within_tolerance)


def correction_of(batch: Batch) -> Correction | None:
    """Return how the pot stands against its ratio, and what to add if it is off."""
    totals = weighed_kg(batch)
    if totals["resin"] <= 0:
        return None
    info = stores.system(batch.system_id)
    division = Decimal("0.1") if batch.scale is None else batch.scale.readability_g
    poured = batch.portions.aggregate(kg=Sum("kg"))["kg"] or Decimal(0)
    short = _short_role(info.hardener_per_100, totals)
    containers = [line.container_id for line in batch.lines.all() if line.role == short]
    stock = sum((stores.container(c).free for c in containers), Decimal(0))
    pots = [kg for kg in (info.vessel_kg, batch.mixer and batch.mixer.largest_kg) if kg]
    residue = batch.mixed_kg - poured
    try:
        return correct_overpour(
            MixRatio(float(info.hardener_per_100), float(info.ratio_tolerance_percent)),
            1000 * float(totals["resin"]),
            1000 * float(totals["hardener"]),
            float(division),
            pot_g=1000 * float(min(pots)) if pots else float("inf"),
            lift_g=1000 * float(poured * Decimal("1.05") + residue),
            stock_g=1000 * float(stock),
        )
    except ValueError as error:
        raise ShopError(f"Batch {batch.number}: {error}.", code="ratio_out_of_reach") from error


def _short_role(hardener_per_100: Decimal, totals: Mapping[str, Decimal]) -> str:
    wanted = totals["resin"] * hardener_per_100 / 100
    return "resin" if totals["hardener"] > wanted else "hardener"


@transaction.atomic
def record_entry(
    *,
    batch: Batch,
    kind: str,
    key: str,
    at: datetime,
    now: datetime,
    by: Any = None,
    portion: BatchPortion | None = None,
    facts: Mapping[str, Any] | None = None,
    words: str = "",
    amends: BatchEntry | None = None,
    photo: Any = None,
) -> BatchEntry:
    """Add an entry to a batch's log and do what follows from it. A repeat returns the first."""
    found = BatchEntry.objects.filter(key=key).first()
    if found is not None:
        if found.batch_id != batch.pk or found.kind != kind:
            raise ShopError(
                f"Key {key} was used for another entry; a new entry needs a new key.",
                code="key_reused",
            )
        return found
    batch = Batch.objects.select_for_update().get(pk=batch.pk)
    at = happened(at, now=now, after=_before_entry(batch, kind, portion), site=batch.site)
    facts = _with_dew_point(dict(facts or {}))
    entry = BatchEntry(
        batch=batch,
        key=key,
        kind=kind,
        at=at,
        recorded_at=now,
        by=by,
        portion=portion,
        facts=facts,
        words=words,
        amends=amends,
    )
    if photo is not None:
        entry.photo = photo
    follow = {
        EntryKind.CONTACT: _contact,
        EntryKind.POURED: _poured,
        EntryKind.SCRAPPED: _scrapped,
        EntryKind.LEAK: take_from_lift,
        EntryKind.SHORT: take_from_lift,
    }.get(EntryKind(kind))
    if follow is not None:
        follow(entry)
    entry.save()
    return entry


def _before_entry(batch: Batch, kind: str, portion: BatchPortion | None) -> list[Event]:
    """Return what an entry follows: weighing, first contact, the lifts below those it fills."""
    if kind in (EntryKind.CONTACT, EntryKind.SCRAPPED):
        first = Weighing.objects.filter(line__batch=batch).aggregate(at=Min("at"))["at"]
        return [(f"batch {batch.number} was weighed", first)]
    if kind not in (EntryKind.POURED, EntryKind.SHORT, EntryKind.LEAK):
        return []
    found: list[Event] = [(f"first contact of batch {batch.number}", batch.contact_at)]
    portions = batch.portions.all() if portion is None else [portion]
    for one in portions if kind == EntryKind.POURED else ():
        lift = one.lift
        below = BatchPortion.objects.filter(lift__pour=lift.pour_id, lift__number__lt=lift.number)
        last = below.aggregate(at=Max("poured_at"))["at"]
        found.append((f"the lift below {lift} was poured", last))
    return found


def _with_dew_point(facts: dict[str, Any]) -> dict[str, Any]:
    if "air_c" in facts and "humidity_percent" in facts:
        dew = dew_point_c(float(facts["air_c"]), float(facts["humidity_percent"]))
        facts["dew_point_c"] = round(dew, 2)
        if "surface_c" in facts:
            facts["margin_k"] = round(float(facts["surface_c"]) - dew, 2)
    return facts


def _contact(entry: BatchEntry) -> None:
    batch = entry.batch
    if batch.status != BatchStatus.WEIGHED:
        words = batch.get_status_display().lower()
        why = "weigh resin and hardener first" if batch.status in OPEN else words
        raise BatchFixed(
            f"Batch {batch.number} cannot be mixed: it is {words}; {why}.", code="batch_fixed"
        )
    batch.status, batch.contact_at = BatchStatus.MIXING, entry.at
    batch.version += 1
    batch.save(update_fields=["status", "contact_at", "version"])
    Pour.objects.filter(
        lifts__portions__batch=batch, status__in=[PourStatus.PLANNED, PourStatus.ASKED]
    ).update(status=PourStatus.POURING, version=F("version") + 1)


def _poured(entry: BatchEntry) -> None:
    """One portion is in, or all of them; the lift's clock starts with its last portion."""
    batch = entry.batch
    if batch.status != BatchStatus.MIXING:
        raise BatchFixed(
            f"Batch {batch.number} is {batch.get_status_display().lower()}; record first contact "
            "before pouring.",
            code="batch_fixed",
        )
    open_portions = list(batch.portions.filter(poured_at__isnull=True).select_related("lift"))
    portions = [p for p in open_portions if entry.portion_id in (None, p.pk)]
    if not portions:
        raise BatchFixed(
            f"This portion of batch {batch.number} is poured already.", code="portion_poured"
        )
    for portion in portions:
        kg = entry.facts.get("kg") if entry.portion_id else None
        portion.poured_kg = portion.kg if kg is None else Decimal(str(kg))
        portion.poured_at = entry.at
        portion.save(update_fields=["poured_kg", "poured_at"])
    if len(portions) == len(open_portions):
        batch.status, batch.poured_at = BatchStatus.POURED, entry.at
        batch.version += 1
        batch.save(update_fields=["status", "poured_at", "version"])
    for lift in Lift.objects.filter(portions__in=portions).select_related("pour__order__site"):
        rows = list(lift.portions.values_list("kg", "lost_kg", "poured_at"))
        whole = sum(kg - lost for kg, lost, _ in rows) >= lift.mass_kg - Decimal("0.001")
        times = [at for *_, at in rows if at is not None]
        if whole and len(times) == len(rows):
            clocks.start_clock(lift=lift, poured_at=max(times))


def _scrapped(entry: BatchEntry) -> None:
    """A pot that died: what was weighed stays issued; what was not is free again."""
    batch = entry.batch
    if batch.status == BatchStatus.POURED:
        raise BatchFixed(
            f"Batch {batch.number} is poured; record a short pour or a remark instead.",
            code="batch_fixed",
        )
    batch.status = BatchStatus.SCRAPPED
    batch.version += 1
    batch.save(update_fields=["status", "version"])
    stores.free_reservations(prefix=f"batch:{batch.pk}:")
    leave_to_plan(batch)
