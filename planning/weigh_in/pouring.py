"""Writes: what goes from a pot into its lifts, never more than lies in the pot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import ROUND_FLOOR, Decimal

from planning.batches.models import BatchEntry, BatchPortion, EntryKind, Lift
from planning.clocks import actions as clocks
from planning.core.casting.pot import STEP_KG
from planning.weigh_in.contents import (
    ZERO,
    division_g,
    offer_of_pot,
    residue_kg,
    wanted_kg,
    weighed_kg,
)
from planning.weigh_in.losses import most_missing, take_from_lift
from shared.errors import Invalid


def pour_portions(
    entry: BatchEntry, portions: Sequence[BatchPortion], *, late: bool
) -> Mapping[int, Decimal]:
    """
    Write down what went into some portions; return what each lacks in a pot that is short, kg.

    Where no mass is given, each gets what the pot offers it. The masses poured from a pot never
    add up to more than was weighed less what stays in it; what has happened already may include
    what was scraped out, but never more than was weighed.
    """
    batch = entry.batch
    found, open_portions = offer_of_pot(batch)
    offered = {p.pk: kg for p, kg in zip(open_portions, found.kg, strict=True)}
    given = entry.facts.get("kg") if entry.portion_id else None
    kg = {p.pk: offered[p.pk] if given is None else Decimal(str(given)) for p in portions}
    before = sum((p.poured_kg or ZERO for p in batch.portions.all()), ZERO)
    weighed = sum(weighed_kg(batch).values(), ZERO)
    most = (weighed if late else max(ZERO, weighed - residue_kg(batch))) - before
    # A reading of the scale may lie a division beside the exact share.
    most = min(weighed - before, most + division_g(batch) / 1000)
    asked = sum(kg.values(), ZERO)
    if asked > most:
        raise Invalid.one(
            "facts/kg",
            "more_than_in_the_pot",
            f"Poured, kg, is {asked:.4f}. Of {weighed:.4f} kg weighed into batch {batch.number}, "
            f"{before:.4f} kg are poured and {residue_kg(batch):.4f} kg stay in the pot: at most "
            f"{max(ZERO, most):.4f} kg can be poured. Record what really went in, or the weighing "
            "that is missing.",
            value=str(asked),
            limit=str(max(ZERO, most)),
            unit="kg",
        )
    if asked <= 0:
        raise Invalid.one(
            "facts/kg",
            "nothing_to_pour",
            f"Poured, kg, is {asked:f}; it must be above 0 kg. If the pot holds no more than what "
            "stays in it, scrap it.",
            value=str(asked),
            limit="0",
            unit="kg",
        )
    for portion in portions:
        portion.poured_kg, portion.poured_at = kg[portion.pk], entry.at
        portion.save(update_fields=["poured_kg", "poured_at"])
    if not found.missing_kg:
        return {}
    wanted = wanted_kg(batch)
    return {p.pk: wanted[p.pk] - kg[p.pk] for p in portions if wanted[p.pk] > kg[p.pk]}


def tell_missing(entry: BatchEntry, missing: Mapping[int, Decimal]) -> None:
    """Let the lifts of a short pot end lower, so that the rest is planned anew."""
    rows = BatchPortion.objects.filter(pk__in=missing).select_related("lift")
    for portion in rows.order_by("order"):
        kg = missing[portion.pk].quantize(STEP_KG)
        # Rounded down: rounded up it would lie above what may be missing, and the pour be refused.
        most = most_missing(portion).quantize(STEP_KG, ROUND_FLOOR)
        if kg <= 0:
            continue
        short = BatchEntry(
            batch=entry.batch,
            key=f"{entry.key}:short:{portion.pk}"[-120:],
            kind=EntryKind.SHORT,
            at=entry.at,
            recorded_at=entry.recorded_at,
            by=entry.by,
            portion=portion,
            facts={"kg": str(min(kg, most))},
            words="the pot held less than planned",
        )
        take_from_lift(short)
        short.save()


def start_clocks(portions: Sequence[BatchPortion], now: datetime) -> None:
    """Start the clock of each lift whose last portion is in."""
    for lift in Lift.objects.filter(portions__in=portions).select_related("pour__order__site"):
        rows = list(lift.portions.values_list("kg", "lost_kg", "poured_at"))
        whole = sum(kg - lost for kg, lost, _ in rows) >= lift.mass_kg - Decimal("0.001")
        times = [at for *_, at in rows if at is not None]
        if whole and len(times) == len(rows):
            clocks.start_clock(lift=lift, poured_at=max(times), now=now)
