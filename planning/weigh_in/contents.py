"""What is in a pot: masses really weighed, how they stand against the ratio, what they fill."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from planning.batches.lines import UNNAMED_DIVISION_G
from planning.batches.models import Batch, BatchPortion, EntryKind, Weighing
from planning.core.casting import pot
from planning.core.casting.components import Off, correct, worst_off
from planning.core.casting.mixing import Correction
from planning.system_data import ratios_of
from shared.errors import ShopError
from shop import stores
from shop.stores_types import SystemInfo

ZERO = Decimal(0)


def weighings_of(batch: Batch) -> list[Weighing]:
    """Return what was weighed into a batch, in order, with its amendments; two queries."""
    rows = Weighing.objects.filter(line__batch=batch).select_related("line")
    return list(rows.prefetch_related("amendments").order_by("at", "pk"))


def weighed_kg(batch: Batch, rows: Iterable[Weighing] | None = None) -> dict[str, Decimal]:
    """Return what is in the pot so far, by role, kg; `rows` are its weighings if read already."""
    totals = {"resin": ZERO, "hardener": ZERO}
    for row in weighings_of(batch) if rows is None else rows:
        totals[row.line.role] = totals.get(row.line.role, ZERO) + row.kg
    return totals


def rows_of(batch: Batch) -> list[pot.Row]:
    """Return the rows of the sheet with what is weighed into each."""
    into: dict[int, Decimal] = {}
    for row in weighings_of(batch):
        into[row.line_id] = into.get(row.line_id, ZERO) + row.kg
    closed = set(
        batch.entries.filter(kind=EntryKind.NO_MORE, line__isnull=False).values_list(
            "line", flat=True
        )
    )
    return [
        pot.Row(line.role, line.low_kg, into.get(line.pk, ZERO), line.pk in closed)
        for line in batch.lines.all()
    ]


def division_g(batch: Batch) -> Decimal:
    """Return the division of the batch's scale, g."""
    return UNNAMED_DIVISION_G if batch.scale is None else batch.scale.readability_g


def residue_kg(batch: Batch) -> Decimal:
    """Return what is planned to stay in the pot and on the tools, kg."""
    return max(ZERO, batch.mixed_kg - sum((p.kg for p in batch.portions.all()), ZERO))


def wanted_kg(batch: Batch) -> dict[int, Decimal]:
    """
    Return what each portion is to get, kg: its plan, less what was told to be lacking before.

    What lacks is planned anew already; counted again when the portion is poured, the lift would
    end lower by twice as much.
    """
    found = {portion.pk: portion.kg for portion in batch.portions.all()}
    for entry in batch.entries.filter(kind=EntryKind.SHORT, portion__isnull=False):
        if entry.portion_id in found:
            found[entry.portion_id] -= Decimal(entry.facts.get("kg", "0"))
    return {pk: max(ZERO, kg) for pk, kg in found.items()}


def offer_of_pot(batch: Batch) -> tuple[pot.Offer, list[BatchPortion]]:
    """Return what the pot gives to the portions that are still to be poured, and those."""
    portions = list(batch.portions.all())
    open_portions = [portion for portion in portions if portion.poured_at is None]
    wanted = wanted_kg(batch)
    found = pot.offer(
        weighed_kg=sum(weighed_kg(batch).values(), ZERO),
        residue_kg=residue_kg(batch),
        poured_kg=sum((portion.poured_kg or ZERO for portion in portions), ZERO),
        open_kg=[wanted[portion.pk] for portion in open_portions],
        division_kg=division_g(batch) / 1000,
    )
    return found, open_portions


def ratio_off(
    batch: Batch, info: SystemInfo | None = None, rows: Iterable[Weighing] | None = None
) -> Off | None:
    """
    Return the component furthest off its ratio; None while one of them is missing.

    `info` is the batch's system and `rows` its weighings, where the caller has read them already.
    """
    roles = {line.role for line in batch.lines.all()}
    info = info or stores.system(batch.system_id)
    return worst_off(ratios_of(info, roles), weighed_kg(batch, rows))


def ratio_off_percent(batch: Batch) -> float | None:
    """Return how far that component is off, % of itself; None while one is missing."""
    off = ratio_off(batch)
    return None if off is None else off.percent


def correction_of(batch: Batch) -> Correction | None:
    """Return how the pot stands against its ratio, and what to add if it is off."""
    totals = weighed_kg(batch)
    if totals["resin"] <= 0:
        return None
    info = stores.system(batch.system_id)
    poured = sum((portion.kg for portion in batch.portions.all()), ZERO)
    cans = stores.containers_by_id(line.container_id for line in batch.lines.all())
    stock_g: dict[str, float] = {}
    for role, can in {(line.role, line.container_id) for line in batch.lines.all()}:
        stock_g[role] = stock_g.get(role, 0.0) + 1000 * float(cans[can].free)
    pots = [kg for kg in (info.vessel_kg, batch.mixer and batch.mixer.largest_kg) if kg]
    residue = batch.mixed_kg - poured
    try:
        return correct(
            ratios_of(info, stock_g),
            {role: float(1000 * kg) for role, kg in totals.items()},
            float(division_g(batch)),
            pot_g=1000 * float(min(pots)) if pots else float("inf"),
            lift_g=1000 * float(poured * Decimal("1.05") + residue),
            stock_g=stock_g,
        )
    except ValueError as error:
        raise ShopError(f"Batch {batch.number}: {error}.", code="ratio_out_of_reach") from error
