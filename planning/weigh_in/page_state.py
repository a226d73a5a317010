"""What the batch page needs to work on its own while the network is away, as JSON."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from planning.batch_sheets.queries import batch_row
from planning.batches.models import Batch, BatchEntry, EntryKind, Weighing
from planning.batches.printed import decimals_of
from planning.batches.stirring import stir_again, stirred_at
from planning.clocks.deadline import deadline_of
from planning.system_data import components_of
from planning.weigh_in import alarms
from planning.weigh_in.contents import residue_kg, wanted_kg
from planning.weigh_in.gate_state import gate_of
from planning.weigh_in.mix_reading import usual_of
from planning.weigh_in.replan import offer_of
from shared.codes.finding import code_of
from shop import stores
from shop.stores_types import ContainerInfo, SystemInfo


def batch_with_parts(pk: int, site_id: int) -> Batch | None:
    """Return a batch of a site with all that its page shows."""
    return (
        Batch.objects.filter(pk=pk, site=site_id)
        .select_related("mixer", "scale", "plan", "system", "site")
        .prefetch_related(
            "people",
            "lines__container__lot__material",
            "lines__container__location",
            "lines__weighings__container",
            "lines__weighings__by",
            "lines__weighings__amendments",
            "portions__lift__pour__order__tool",
            "portions__lift__place",
            "portions__lift__pour__lifts",
            "entries__by",
            "entries__gate",
        )
        .first()
    )


def state_of(batch: Batch, now: datetime) -> dict[str, Any]:
    """Return a batch as its page shows it; masses are decimal text, times carry their offset."""
    info = stores.system(batch.system_id)
    row = batch_row(batch, info, deadline_of(batch))
    wanted = wanted_kg(batch)
    cans = stores.containers_by_id(line.container_id for line in batch.lines.all())
    pots = [kg for kg in (info.vessel_kg, batch.mixer and batch.mixer.largest_kg) if kg]
    closed = {entry.line_id for entry in batch.entries.all() if entry.kind == EntryKind.NO_MORE}
    return {
        **row,
        "status_words": batch.get_status_display(),
        "decimals": decimals_of(row["readability_g"]),
        "pot_kg": min(pots) if pots else None,
        "contacted_at": batch.contact_at,
        "planned_contact_at": batch.planned_contact,
        "lines": [
            _line(line, plain, line.pk in closed, cans[line.container_id])
            for line, plain in zip(batch.lines.all(), row["lines"], strict=True)
        ],
        "portions": [{**one, "wanted_kg": wanted[one["id"]]} for one in row["portions"]],
        "cans": _cans(batch, info, now),
        "stir_again_h": {
            role: None if again is None else again / timedelta(hours=1)
            for role, material in components_of(info).items()
            for again in (stir_again(material),)
        },
        "gate": gate_of(batch, now),
        "mix_usual_c": usual_of(batch),
        "residue_kg": residue_kg(batch),
        "entries": [
            {
                "id": entry.pk,
                "key": entry.key,
                "kind": entry.kind,
                "label": entry.get_kind_display(),
                "at": entry.at,
                "recorded_at": entry.recorded_at,
                "by": "" if entry.by is None else str(entry.by),
                "portion": entry.portion_id,
                "words": entry.words,
                "facts": entry.facts,
                "line": entry.line_id,
                "gate": _gate(entry),
            }
            for entry in batch.entries.all()
        ],
        "cautions": [
            {"code": code, "text": text}
            for code, text in stores.hazard_lines([one.id for one in info.materials])
        ],
        "new_plan": offer_of(batch),
        "alarms": [alarms.plain(one) for one in alarms.open_of(batch.entries.all())],
        "care": alarms.care(),
        "zone": batch.site.time_zone,
        "now": now,
    }


def _cans(batch: Batch, info: SystemInfo, now: datetime) -> list[dict[str, Any]]:
    """Return every can of the mix's materials that has something left, for a can in the hand."""
    roles = {material.id: role for role, material in components_of(info).items()}
    found = stores.containers(batch.site_id, list(roles))
    stirred = stirred_at([can.id for can in found], now)
    return [
        {
            "code": can.code,
            "short": code_of("can", can.id),
            "container_id": can.id,
            "role": roles[can.material_id],
            "material": can.material_name,
            "lot": can.lot_code,
            "shelf": can.location,
            "usable_until": can.usable_until,
            "free_kg": can.free,
            "stirred_at": stirred.get(can.id),
        }
        for can in found
    ]


def _line(line: Any, plain: dict[str, Any], no_more: bool, info: ContainerInfo) -> dict[str, Any]:
    return {
        **plain,
        "container_id": line.container_id,
        "short": code_of("can", line.container_id),
        "usable_until": info.usable_until,
        "lot_status": info.lot_status,
        "weighings": [_weighing(weighing) for weighing in line.weighings.all()],
        "no_more": no_more,
        "weighed_kg": sum((w.kg for w in line.weighings.all()), Decimal(0)),
        "in_can_kg": info.balance,
    }


def _gate(entry: BatchEntry) -> dict[str, Any] | None:
    found = getattr(entry, "gate", None)
    if found is None:
        return None
    return {
        "late": found.late,
        "hindrances": found.hindrances,
        "reason": found.reason,
        "decided_by": found.decided_by,
    }


def _weighing(weighing: Weighing) -> dict[str, Any]:
    return {
        "id": weighing.pk,
        "key": weighing.key,
        "kg": weighing.kg,
        "first_kg": weighing.weighed_kg,
        "at": weighing.at,
        "container": weighing.container.code,
        "reason": weighing.reason,
        "by": "" if weighing.by is None else str(weighing.by),
    }
