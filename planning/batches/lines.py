"""What to weigh into a batch, container by container, on the scale's division."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal
from typing import Any

from django.db.models import F, OuterRef, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from planning.batches.models import Batch, BatchEntry, BatchLine, EntryKind, Weighing
from planning.core import plan as core
from planning.core.casting.components import bounds_of_rows, targets_g
from planning.core.casting.line_bounds import Bounds, WeighRow
from planning.system_data import ratios_of
from shop.stores_types import ScaleInfo, SystemInfo

EXACT = Decimal("0.00000001")
UNNAMED_DIVISION_G = Decimal("0.1")
"""Of a batch without a scale of its own."""
GRAM_TENTH = Decimal("0.0001")
MOST_SHRUNK = 0.98
"""A batch may be made smaller to this share of itself when its cans hold no more."""


def lines_with_weights() -> QuerySet[BatchLine]:
    """Return rows of sheets, what was weighed into each, when its can was stirred; one query."""
    amendments: Any = Weighing.amendments.rel.related_model
    last = amendments.objects.filter(weighing=OuterRef("pk")).order_by("-pk").values("to_kg")[:1]
    into = (
        Weighing.objects.filter(line=OuterRef("pk"))
        .order_by()
        .annotate(counts_kg=Coalesce(Subquery(last), F("weighed_kg")))
        .values("line")
        .annotate(into_kg=Sum("counts_kg"))
        .values("into_kg")
    )
    stirred = BatchEntry.objects.filter(kind=EntryKind.STIRRED, container=OuterRef("container"))
    return BatchLine.objects.select_related(
        "container__lot__material", "container__location"
    ).annotate(
        in_pot_kg=Subquery(into),
        stirred_at=Subquery(stirred.order_by("-at").values("at")[:1]),
    )


def weighed_into(line: BatchLine) -> Decimal | None:
    """Return what was weighed into a row, as amended, kg; None before its first weighing."""
    if hasattr(line, "in_pot_kg"):
        known: Decimal | None = line.in_pot_kg
        return known
    rows = [weighing.kg for weighing in line.weighings.all()]
    return sum(rows, Decimal(0)) if rows else None


def purpose(line: BatchLine) -> str:
    """Return what the stores know a batch line's reservation by."""
    return f"batch:{line.batch_id}:{line.order}"


def exact(value: float) -> Decimal:
    """Return a planned mass as stored, kg."""
    return Decimal(repr(value)).quantize(EXACT, ROUND_HALF_UP)


def best_scale(scales: Iterable[ScaleInfo], mixed_kg: float) -> ScaleInfo | None:
    """Return the finest scale that carries the whole batch, else the largest."""
    fitting = [scale for scale in scales if float(scale.capacity_kg) >= mixed_kg]
    if fitting:
        return min(fitting, key=lambda scale: (scale.readability_g, scale.code))
    return max(scales, key=lambda scale: (scale.capacity_kg, scale.code), default=None)


def batch_lines(
    batch: Batch,
    info: SystemInfo,
    scale: ScaleInfo | None,
    uses: Sequence[core.LotUse],
    free_g: Callable[[int], Decimal],
) -> list[BatchLine]:
    """
    Return what to weigh from which container, on the scale's division.

    Targets are rounded up, so containers planned to their last gram may hold a little less than
    they add up to: then the whole batch is made smaller by that little, all parts alike, which
    its residue bears. What is short by more is left as it is, and refused when it is reserved.
    """
    division = UNNAMED_DIVISION_G if scale is None else scale.readability_g
    ratios = ratios_of(info)
    mine = {
        role: [use for use in uses if use.role == role and use.kg > 0] for role in info.per_100
    }
    room = {
        use.container: _down(free_g(int(use.container)), division)
        for rows in mine.values()
        for use in rows
    }
    total_g = 1000 * float(batch.mixed_kg)
    wanted = targets_g(ratios, total_g, division)
    have = {
        role: sum((room[u.container] for u in rows), Decimal(0)) for role, rows in mine.items()
    }
    part = min(1.0, *(float(have[role] / target) for role, target in wanted.items()))
    if MOST_SHRUNK <= part < 1:
        smaller_g = total_g * part - len(wanted) * float(division)
        wanted = targets_g(ratios, max(smaller_g, float(division)), division)
    shares = [
        (role, use, share)
        for role, rows in mine.items()
        for use, share in _shared_out(wanted[role], rows, room, division)
    ]
    rows = [WeighRow(role, share) for role, _, share in shares]
    bounds = bounds_of_rows(ratios, rows, division)
    return [
        BatchLine(
            batch=batch,
            order=order,
            role=role,
            container_id=int(use.container),
            exact_kg=exact(use.kg),
            target_kg=_kg(share),
            low_kg=_kg(bound.low_g),
            high_kg=_kg(bound.high_g),
        )
        for order, ((role, use, share), bound) in enumerate(
            zip(shares, bounds, strict=True), start=1
        )
    ]


def live_bounds(batch: Batch, info: SystemInfo) -> dict[int, Bounds]:
    """
    Return by the line's key what to aim at and within what, as the pot stands now.

    Reads the lines with their weighings and the entries, which are best prefetched.
    """
    lines = list(batch.lines.all())
    closed = {e.line_id for e in batch.entries.all() if e.kind == EntryKind.NO_MORE}
    rows = [
        WeighRow(
            line.role,
            1000 * line.target_kg,
            1000 * (weighed_into(line) or Decimal(0)),
            line.pk in closed,
        )
        for line in lines
    ]
    division = UNNAMED_DIVISION_G if batch.scale is None else batch.scale.readability_g
    ratios = ratios_of(info, {line.role for line in lines})
    found = bounds_of_rows(ratios, rows, division)
    return {line.pk: bound for line, bound in zip(lines, found, strict=True)}


def _shared_out(
    target: Decimal, uses: list[core.LotUse], room: dict[str, Decimal], division: Decimal
) -> list[tuple[core.LotUse, Decimal]]:
    """Share a target over containers as planned, in whole divisions; the rest where room is."""
    shares = {}
    left = target
    for use in uses:
        planned = _down(Decimal(repr(1000 * use.kg)), division)
        shares[use.container] = max(Decimal(0), min(left, planned, room[use.container]))
        left -= shares[use.container]
    for use in reversed(uses):
        more = min(left, max(Decimal(0), room[use.container] - shares[use.container]))
        shares[use.container] += more
        left -= more
    if uses and left > 0:
        shares[uses[-1].container] += left  # too much: the stores say so, with figures
    return [(use, shares[use.container]) for use in uses if shares[use.container] > 0]


def _down(grams: Decimal, division: Decimal) -> Decimal:
    return (grams / division).to_integral_value(ROUND_FLOOR) * division


def _kg(grams: Decimal) -> Decimal:
    return (grams / 1000).quantize(GRAM_TENTH)
