"""From what a scanner read at goods in to a material, its lot, dates and quantity."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from shared.errors import Invalid
from shop.core.gs1 import Gs1Error
from shop.core.gs1_label import Label, read_label
from shop.materials.models import LearnedCode, Material, Pack, Unit


@dataclass(frozen=True)
class GoodsScan:
    """What a scan says about goods on the dock; None where it is silent."""

    text: str
    material: Material | None
    supplier_id: int | None
    pack: Pack | None
    lot_code: str | None
    made_on: date | None
    expires_on: date | None
    quantity: Decimal | None
    """Of one container, in the material's unit."""
    count: int | None
    warnings: tuple[str, ...]


def read_goods_scan(text: str, today: date, supplier_id: int | None = None) -> GoodsScan:
    """
    Read a scan: a code learned for the supplier, else GS1 data.

    Raises
    ------
    Invalid
        If the scan is neither, or breaks a rule of GS1; nothing is guessed.
    """
    learned = learned_code(text, supplier_id)
    if learned is not None:
        return GoodsScan(
            text, learned.material, learned.supplier_id, None, None, None, None,
            learned.content, None, (),
        )  # fmt: skip
    try:
        label = read_label(text, today)
    except Gs1Error as error:
        hint = " If it is the supplier's own code, match it to a material once."
        words = f"scan: {error}{hint if error.code in ('not_gs1', 'unknown_ai') else ''}"
        raise Invalid.one("scan", error.code, words, value=text[:80]) from error
    return _from_label(text, label, supplier_id)


def learned_code(text: str, supplier_id: int | None) -> LearnedCode | None:
    """Return the one learned code of that text; of several suppliers' only the one named."""
    rows = LearnedCode.objects.filter(text=text.strip()).select_related("material")
    if supplier_id is not None:
        rows = rows.filter(supplier=supplier_id)
    found = list(rows[:2])
    return found[0] if len(found) == 1 else None


def _from_label(text: str, label: Label, supplier_id: int | None) -> GoodsScan:
    warnings = list(label.warnings)
    pack = _pack(label, supplier_id)
    if pack is None and (label.gtin or label.supplier_item):
        named = label.gtin or label.supplier_item
        warnings.append(f"no pack with the item number {named} is known; choose the material")
    quantity = pack.content if pack else None
    if pack is not None:
        for unit, printed in ((Unit.KG, label.net_kg), (Unit.LITRE, label.net_l)):
            if printed is None:
                continue
            if pack.material.unit == unit:
                quantity = printed
            else:
                warnings.append(
                    f"the label gives {printed} {unit}, the material is "
                    f"counted in {pack.material.unit}; enter the quantity"
                )
    return GoodsScan(
        text,
        pack.material if pack else None,
        pack.supplier_id if pack else supplier_id,
        pack,
        label.lot,
        label.made_on,
        label.usable_until,
        quantity or label.net_kg or label.net_l,
        label.count,
        tuple(warnings),
    )


def _pack(label: Label, supplier_id: int | None) -> Pack | None:
    rows = Pack.objects.select_related("material").order_by("from_packs", "pk")
    if supplier_id is not None:
        rows = rows.filter(supplier=supplier_id)
    if label.gtin:
        # A number of 8, 12 or 13 digits and its form with leading zeros are the same item.
        short = label.gtin.lstrip("0")
        forms = {short.zfill(n) for n in (8, 12, 13, 14) if len(short) <= n}
        found = rows.filter(gtin__in=forms).first()
        if found is not None:
            return found
    if label.supplier_item:
        items = {pack.material_id: pack for pack in rows.filter(supplier_item=label.supplier_item)}
        if len(items) == 1:
            return next(iter(items.values()))
    return None
