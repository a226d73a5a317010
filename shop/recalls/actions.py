"""Recalling a lot, and lifting a recall."""

from __future__ import annotations

from datetime import datetime

from shared.access.models import Site, User
from shared.errors import Invalid
from shared.retry import retried
from shop.errors import NotFound, Refused
from shop.ledger.genealogy import with_descendants
from shop.lots.actions import hold
from shop.lots.models import Lot
from shop.materials.models import Material
from shop.recalls.models import Recall, RecalledLot
from shop.trace.queries import touched_lots


class AlreadyLifted(Refused):
    own_code = "already_lifted"


@retried
def recall(*, lot_id: int, reason: str, at: datetime, by: User | None = None) -> Recall:
    """
    Stop a lot, and every lot that went into the same castings, until the recall is lifted.

    The lot itself is held at every site and from every supplier, used up or not, and so is all
    that arrives of it later, from another site as well. The lots it met are held at their site.
    """
    lot = Lot.objects.select_related("site", "material").filter(pk=lot_id).first()
    if lot is None:
        raise NotFound(f"There is no lot {lot_id}.", lot=lot_id)
    found = _begin(lot.site, lot.material, lot.code, reason, at, by)
    holding = with_descendants([lot.pk])
    for met in touched_lots(lot):
        RecalledLot.objects.get_or_create(
            recall=found,
            material=met.material,
            code=met.code.upper(),
            defaults={"site": None if met.pk in holding else met.site},
        )
    _hold_all(found)
    return found


@retried
def recall_code(
    *, site: Site, material: Material, lot_code: str, reason: str, at: datetime,
    by: User | None = None,
) -> Recall:  # fmt: skip
    """Stop a lot that was never received here, so that it is held if it comes."""
    known = Lot.objects.filter(site=site, material=material, code__iexact=lot_code).first()
    if known is not None:
        return recall(lot_id=known.pk, reason=reason, at=at, by=by)
    found = _begin(site, material, lot_code, reason, at, by)
    _hold_all(found)
    return found


@retried
def lift(recall_id: int, *, reason: str, at: datetime, by: User | None = None) -> Recall:
    """End a recall; its lots stay held until each is released, on its own grounds."""
    found = Recall.objects.select_for_update(no_key=True).filter(pk=recall_id).first()
    if found is None:
        raise NotFound(f"There is no recall {recall_id}.", recall=recall_id)
    if not reason.strip():
        words = "reason is empty; say on what grounds the recall is lifted."
        raise Invalid.one("reason", "required", words)
    if found.lifted_at is not None:
        raise AlreadyLifted(f"The {found} was lifted before: {found.lifted_because}")
    found.lifted_at, found.lifted_by, found.lifted_because = at, by, reason.strip()[:200]
    found.save(update_fields=["lifted_at", "lifted_by", "lifted_because"])
    return found


def _begin(
    site: Site, material: Material, lot_code: str, reason: str, at: datetime, by: User | None
) -> Recall:
    if not reason.strip():
        raise Invalid.one("reason", "required", "reason is empty; say why the lot is recalled.")
    # Goods in takes the same lock, so that no delivery slips in between.
    Material.objects.select_for_update(no_key=True).get(pk=material.pk)
    found = Recall.objects.create(
        site=site, material=material, lot_code=lot_code, reason=reason.strip()[:200], at=at, by=by
    )
    RecalledLot.objects.create(recall=found, material=material, code=lot_code.upper())
    return found


def _hold_all(found: Recall) -> None:
    ids: set[int] = set()
    for stop in found.stops.all():
        lots = Lot.objects.filter(material=stop.material_id, code__iexact=stop.code)
        if stop.site_id is not None:
            lots = lots.filter(site=stop.site_id)
        ids.update(lots.values_list("pk", flat=True))
    hold(ids, reason=f"recalled: {found.reason}"[:200])
