"""What to weigh into a batch, container by container, on the scale's division."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from decimal import ROUND_FLOOR, ROUND_HALF_UP, Decimal

from planning.batches.models import Batch, BatchLine
from planning.core import plan as core
from planning.core.casting.mixing import MixRatio
from planning.core.casting.weighing import weigh_targets
from shop.stores_types import ScaleInfo, SystemInfo

EXACT = Decimal("0.00000001")
GRAM_TENTH = Decimal("0.0001")
MOST_SHRUNK = 0.98
"""A batch may be made smaller to this share of itself when its cans hold no more."""


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
    they add up to: then the whole batch is made smaller by that little, both parts alike, which
    its residue bears. What is short by more is left as it is, and refused when it is reserved.
    """
    division = Decimal("0.1") if scale is None else scale.readability_g
    ratio = MixRatio(float(info.hardener_per_100), float(info.ratio_tolerance_percent))
    mine = {
        role: [use for use in uses if use.role == role and use.kg > 0]
        for role in ("resin", "hardener")
    }
    room = {
        use.container: _down(free_g(int(use.container)), division)
        for rows in mine.values()
        for use in rows
    }
    total_g = 1000 * float(batch.mixed_kg)
    targets = weigh_targets(ratio, total_g, float(division))
    have = {
        role: sum((room[u.container] for u in rows), Decimal(0)) for role, rows in mine.items()
    }
    part = min(
        float(have["resin"]) / targets.resin_g, float(have["hardener"]) / targets.hardener_g, 1.0
    )
    if MOST_SHRUNK <= part < 1:
        smaller_g = total_g * part - 2 * float(division)
        targets = weigh_targets(ratio, max(smaller_g, float(division)), float(division))
    bounds = {
        "resin": (targets.resin_g, targets.resin_low_g, targets.resin_high_g),
        "hardener": (targets.hardener_g, targets.hardener_low_g, targets.hardener_high_g),
    }
    lines: list[BatchLine] = []
    for role, rows in mine.items():
        target, low, high = (Decimal(repr(value)) for value in bounds[role])
        for use, share in _shared_out(target, rows, room, division):
            lines.append(
                BatchLine(
                    batch=batch,
                    order=len(lines) + 1,
                    role=role,
                    container_id=int(use.container),
                    exact_kg=exact(use.kg),
                    target_kg=_kg(share),
                    low_kg=_kg(min(share, max(Decimal(0), share - (target - low)))),
                    high_kg=_kg(max(share, share + (high - target))),
                )
            )
    return lines


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
