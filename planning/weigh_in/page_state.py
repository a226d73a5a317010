"""What the batch page needs to work on its own while the network is away, as JSON."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from planning.batch_sheets.queries import batch_row
from planning.batches.models import Batch, Weighing
from planning.batches.printed import decimals_of
from planning.core.casting.dew_point import LEAST_MARGIN_K
from planning.core.casting.pot_life import pot_life_min
from planning.system_data import system_data
from planning.weigh_in.replan import offer_of
from shop import stores
from shop.stores_types import SystemInfo


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
            "portions__lift__pour__order__tool",
            "portions__lift__place",
            "portions__lift__pour__lifts",
            "entries__by",
        )
        .first()
    )


def state_of(batch: Batch, now: datetime) -> dict[str, Any]:
    """Return a batch as its page shows it; masses are decimal text, times carry their offset."""
    info = stores.system(batch.system_id)
    row = batch_row(batch, info)
    pots = [kg for kg in (info.vessel_kg, batch.mixer and batch.mixer.largest_kg) if kg]
    pot_life, basis = _pot_life(batch, info)
    contact = batch.contact_at or batch.planned_contact
    return {
        **row,
        "pot_life_min": pot_life,
        "pot_life_basis": basis,
        "latest_pour_at": contact + timedelta(minutes=pot_life),
        "status_words": batch.get_status_display(),
        "decimals": decimals_of(row["readability_g"]),
        "mix_min": info.mix_min,
        "pot_kg": min(pots) if pots else None,
        "contacted_at": batch.contact_at,
        "planned_contact_at": batch.planned_contact,
        "lines": [
            _line(line, plain) for line, plain in zip(_lines(batch), row["lines"], strict=True)
        ],
        "cans": _cans(batch, info),
        "least_margin_k": LEAST_MARGIN_K,
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
            }
            for entry in batch.entries.all()
        ],
        "cautions": [
            {"code": code, "text": text}
            for code, text in stores.hazard_lines([info.resin.id, info.hardener.id])
        ],
        "new_plan": offer_of(batch),
        "zone": batch.site.time_zone,
        "now": now,
    }


def _cans(batch: Batch, info: SystemInfo) -> list[dict[str, Any]]:
    """Return every can of the two materials that has something left, for a can in the hand."""
    roles = {info.resin.id: "resin", info.hardener.id: "hardener"}
    return [
        {
            "code": can.code,
            "role": roles[can.material_id],
            "material": can.material_name,
            "lot": can.lot_code,
            "shelf": can.location,
            "usable_until": can.usable_until,
            "free_kg": can.free,
        }
        for can in stores.containers(batch.site_id, list(roles))
    ]


def _pot_life(batch: Batch, info: SystemInfo) -> tuple[int, str]:
    """Return the planned pot life, or a shorter one when the shop was found to be warmer."""
    seen = [e for e in batch.entries.all() if e.kind == "conditions" and "air_c" in e.facts]
    if not seen:
        return batch.pot_life_min, batch.pot_life_basis
    air_c = float(seen[-1].facts["air_c"])
    try:
        limit = pot_life_min(system_data(info), air_c, float(batch.mixed_kg))
    except ValueError:  # measured far outside what the system's data reach
        return batch.pot_life_min, batch.pot_life_basis
    if limit.value is None or limit.value >= batch.pot_life_min:
        return batch.pot_life_min, batch.pot_life_basis
    source = "data sheet's" if limit.basis == "datasheet" else "computed"
    return max(1, int(limit.value)), f"shorter than planned: {source} at the measured {air_c:g} °C"


def _lines(batch: Batch) -> list[Any]:
    return list(batch.lines.all())


def _line(line: Any, plain: dict[str, Any]) -> dict[str, Any]:
    info = stores.container(line.container_id)
    return {
        **plain,
        "container_id": line.container_id,
        "usable_until": info.usable_until,
        "lot_status": info.lot_status,
        "weighings": [_weighing(weighing) for weighing in line.weighings.all()],
        "weighed_kg": sum((w.weighed_kg for w in line.weighings.all()), Decimal(0)),
        "in_can_kg": info.balance,
    }


def _weighing(weighing: Weighing) -> dict[str, Any]:
    return {
        "key": weighing.key,
        "kg": weighing.weighed_kg,
        "at": weighing.at,
        "container": weighing.container.code,
        "reason": weighing.reason,
        "by": "" if weighing.by is None else str(weighing.by),
    }
