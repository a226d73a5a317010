"""Writes: what was weighed, when resin met hardener, what was poured, what went wrong."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Max, Min

from planning.batches.lines import purpose
from planning.batches.models import (
    Batch,
    BatchEntry,
    BatchLine,
    BatchPortion,
    BatchStatus,
    EntryKind,
    Weighing,
)
from planning.core.casting import pot
from planning.core.casting.dew_point import dew_point_c
from planning.core.casting.mixing import Correction
from planning.order_events.actions import add_event
from planning.pours.models import Pour, PourStatus
from planning.weigh_in import contents, off_ratio, pouring
from planning.weigh_in.contents import correction_of
from planning.weigh_in.emptied import as_it_was_then, put_to_nothing
from planning.weigh_in.gate import LIVE_FOR, Passing, is_late, judge
from planning.weigh_in.keeping import BatchFixed, kept
from planning.weigh_in.losses import take_from_lift
from planning.weigh_in.quarantine import pours_of
from planning.weigh_in.scrapping import contact_of_scrapped, scrap
from planning.weigh_in.stirred import entry_of, judge_stirring
from planning.weigh_in.weighing_checks import can_of, container_for, same_as_seen, what_to_do
from shared.change import change, change_all
from shared.errors import Invalid, ShopError
from shared.events.kinds import EventKind
from shared.times import Event, happened
from shop import stores

OPEN = (BatchStatus.PLANNED, BatchStatus.WEIGHING, BatchStatus.WEIGHED)
"""Into a pot in these states more may be weighed."""


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
    already: bool = False,
    passing: Passing = Passing(),  # noqa: B008 - frozen
) -> Weighed:
    """
    Write down what went into the pot and issue it from stores. A repeat returns the first.

    `already_kg` is what the caller knows to be weighed into this row, nothing where it is left
    out; where the row holds another mass by now, two people weigh for it and the second one is
    refused. With `already`, or told
    late, it has been weighed: it is recorded also from a lot that is held or expired by now, and
    the gate then stops the pot. It is recorded also where the pot has been mixed meanwhile; what
    that makes of its ratio is judged anew. A can whose filler settles is stirred first, and that
    is signed; a reason with a name passes it.
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
    already = already or now - at > LIVE_FOR
    if batch.status not in OPEN and not already:
        raise BatchFixed(
            f"Batch {batch.number} is {batch.get_status_display().lower()}; nothing more can be "
            "weighed into it. If it was in the pot before, say that it has happened.",
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
    same_as_seen(line, Decimal(0) if already_kg is None else already_kg, weighed_kg)
    container_id = container_for(line, container_code, reason)
    came = stores.received_at(container_id)
    at = happened(at, now=now, after=[("the container came in", came)], site=batch.site)
    told = Passing(passing.reason, passing.decided_by, already)
    stirring = judge_stirring(line, container_id, at, told)
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
    with what_to_do(), as_it_was_then(weighing):
        stores.issue(
            container_id=container_id,
            quantity=weighed_kg,
            key=f"weighing:{key}",
            counterpart=f"batch:{batch.pk}",
            purpose=purpose(line),
            happened_at=at,
            used_by=at + (batch.planned_pour_end - batch.planned_start),
            by=by,
            reason=reason,
            already=already,
        )
    if stirring.hindrances:
        kept(entry_of(weighing, stirring), stirring, pours_of(batch))
    if batch.status in OPEN:
        return Weighed(weighing, *settle_status(batch))
    _told_after_mixing(batch, weighing)
    return _weighed(weighing)


def _told_after_mixing(batch: Batch, weighing: Weighing) -> None:
    """What was in the pot when it was mixed, and nobody at it knew: the ratio was another one."""
    entry = BatchEntry.objects.create(
        batch=batch,
        key=f"{weighing.key}:told"[-120:],
        kind=EntryKind.REWEIGHED,
        at=weighing.recorded_at,
        recorded_at=weighing.recorded_at,
        by=weighing.by,
        line=weighing.line,
        facts=off_ratio.facts_of(batch),
        words=f"{weighing.line.role} {weighing.weighed_kg:f} kg was told after the pot was mixed",
    )
    off_ratio.judge(entry)


def _weighed(weighing: Weighing) -> Weighed:
    batch = Batch.objects.select_related("scale", "mixer").get(pk=weighing.line.batch_id)
    return Weighed(weighing, *_as_weighed(batch))


def _as_weighed(batch: Batch) -> tuple[Correction | None, bool]:
    """
    Return how the pot stands against its ratio, and whether it is ready to be mixed.

    Ready is a pot that keeps its ratio and that nothing is left to weigh into.
    """
    rows = contents.rows_of(batch)
    if any(row.weighed_kg == 0 and not row.no_more for row in rows):
        return None, False
    correction = correction_of(batch)
    in_ratio = correction is not None and correction.within_tolerance
    return correction, in_ratio and pot.all_weighed(rows)


def settle_status(batch: Batch) -> tuple[Correction | None, bool]:
    """Bring a pot that is being weighed to the status its weights give it; tell how it stands."""
    correction, ready = _as_weighed(batch)
    if ready:
        stores.free_reservations(prefix=f"batch:{batch.pk}:")
    status = BatchStatus.WEIGHED if ready else BatchStatus.WEIGHING
    if batch.status != status:
        change(batch, status=status)
        batch.status = status
    return correction, ready


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
    line: BatchLine | None = None,
    container_code: str = "",
    photo: Any = None,
    passing: Passing = Passing(),  # noqa: B008 - frozen
) -> BatchEntry:
    """
    Add an entry to a batch's log and do what follows from it. A repeat returns the first.

    First contact and pouring go through the gate: what is about to happen is refused while
    something stands in its way; what has happened is recorded, and its castings are quarantined.
    """
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
        line=line,
    )
    if photo is not None:
        entry.photo = photo
    if kind == EntryKind.CONTACT:
        return _contact(entry, passing)
    if kind == EntryKind.POURED:
        return _poured(entry, passing)
    follow = {
        EntryKind.SCRAPPED: scrap,
        EntryKind.LEAK: take_from_lift,
        EntryKind.SHORT: take_from_lift,
    }.get(EntryKind(kind))
    if follow is not None:
        follow(entry)
    if kind in (EntryKind.CAN_EMPTY, EntryKind.STIRRED):
        can = can_of(entry, container_code)
        entry.container_id = can.id
        entry.words = entry.words or f"can {can.code}"
        if kind == EntryKind.CAN_EMPTY:
            put_to_nothing(entry, can)
    entry.save()
    if kind == EntryKind.NO_MORE and entry.line is None:
        raise Invalid.one("line", "missing", "line is empty; name the row that gets no more.")
    if kind == EntryKind.NO_MORE and batch.status in OPEN:
        settle_status(batch)
    if batch.status == BatchStatus.PLANNED:
        # Somebody is at it: a new plan must leave it, and what is in its log, where it is.
        change(batch, status=BatchStatus.WEIGHING)
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


def _contact(entry: BatchEntry, passing: Passing) -> BatchEntry:
    batch = entry.batch
    if (
        batch.status == BatchStatus.SCRAPPED
        and batch.contact_at is None
        and is_late(entry, passing)
    ):
        return contact_of_scrapped(entry, passing)
    if batch.status not in (BatchStatus.WEIGHING, BatchStatus.WEIGHED):
        words = batch.get_status_display().lower()
        why = "; weigh resin and hardener first" if batch.status == BatchStatus.PLANNED else ""
        raise BatchFixed(
            f"Batch {batch.number} cannot be mixed: it is {words}{why}.", code="batch_fixed"
        )
    verdict = judge(entry, list(batch.portions.all()), passing)
    if batch.status == BatchStatus.WEIGHING and not verdict.late:
        raise BatchFixed(
            f"Batch {batch.number} cannot be mixed: a row has less than its least mass. Weigh the "
            "rest, or say of that row that no more goes in.",
            code="batch_fixed",
        )
    batch.status, batch.contact_at = BatchStatus.MIXING, entry.at
    batch.version += 1
    batch.save(update_fields=["status", "contact_at", "version"])
    stores.free_reservations(prefix=f"batch:{batch.pk}:")
    waiting = Pour.objects.filter(
        lifts__portions__batch=batch, status__in=[PourStatus.PLANNED, PourStatus.ASKED]
    )
    change_all(waiting, status=PourStatus.POURING)
    return kept(entry, verdict, pours_of(batch))


def _poured(entry: BatchEntry, passing: Passing) -> BatchEntry:
    """One portion is in, or all of them; the lift's clock starts with its last portion."""
    batch = entry.batch
    if batch.status != BatchStatus.MIXING:
        raise BatchFixed(_why_not_poured(batch), code="batch_fixed")
    open_portions = list(batch.portions.filter(poured_at__isnull=True).select_related("lift"))
    portions = [p for p in open_portions if entry.portion_id in (None, p.pk)]
    if not portions:
        raise BatchFixed(
            f"This portion of batch {batch.number} is poured already.", code="portion_poured"
        )
    verdict = judge(entry, portions, passing)
    missing = pouring.pour_portions(entry, portions, late=verdict.late)
    if len(portions) == len(open_portions):
        batch.status, batch.poured_at = BatchStatus.POURED, entry.at
        batch.version += 1
        batch.save(update_fields=["status", "poured_at", "version"])
    found = kept(entry, verdict, {portion.lift.pour_id for portion in portions})
    _tell_poured(entry, portions)
    pouring.tell_missing(entry, missing)
    pouring.start_clocks(portions, entry.recorded_at)
    return found


def _tell_poured(entry: BatchEntry, portions: list[BatchPortion]) -> None:
    """Tell each order what of the batch went into its pours."""
    rows = Pour.objects.filter(pk__in={portion.lift.pour_id for portion in portions})
    for pour in rows.select_related("order__site").order_by("pk"):
        own = [portion for portion in portions if portion.lift.pour_id == pour.pk]
        add_event(
            order=pour.order,
            pour=pour,
            kind=EventKind.POURED,
            at=entry.at,
            facts={"batch": entry.batch.number, "lifts": [one.lift.number for one in own]},
            by=entry.by,
        )


def _why_not_poured(batch: Batch) -> str:
    said = f"Batch {batch.number} is {batch.get_status_display().lower()}"
    if batch.status in OPEN:
        return f"{said}; record first contact before pouring."
    if batch.status == BatchStatus.POURED:
        return f"{said}; each of its portions has its weight. Record a remark if it is otherwise."
    return f"{said}; nothing of it can be poured."
