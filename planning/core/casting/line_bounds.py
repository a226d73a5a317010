"""
How far off each row of a batch may be weighed, so that no allowed combination leaves the ratio.

Of what the tolerance leaves, every row still to be weighed gets a share that grows with the root
of its mass: small cans are not asked for less than a scale can show, large ones not for more than
a hand can pour. `pot.js` on the batch page does the same sum while the network is away.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from planning.core.casting.mixing import MixRatio

_EDGE = 1e-6
"""Of a division: a window that just reaches the next one does not count as reaching it."""


@dataclass(frozen=True, eq=False)
class WeighRow:
    """A row to weigh: its component, what is planned, what is weighed, whether no more goes in."""

    role: str
    target_g: Decimal
    weighed_g: Decimal = Decimal(0)
    no_more: bool = False

    @property
    def is_open(self) -> bool:
        """Whether it is still to be weighed."""
        return self.weighed_g == 0 and not self.no_more


@dataclass(frozen=True)
class Bounds:
    """What to aim at in one row, and the least and most that keep the ratio, g."""

    aim_g: Decimal
    low_g: Decimal
    high_g: Decimal


def bounds_of(ratio: MixRatio, rows: Sequence[WeighRow], division_g: Decimal) -> list[Bounds]:
    """
    Return the bounds of every row, each as if it were weighed next.

    What is in the pot counts as it is. The last row of a component makes up for its other rows,
    and once all resin is in, hardener follows the resin really weighed.

    Parameters
    ----------
    ratio : MixRatio
        Ratio and tolerance.
    rows : sequence of WeighRow
        All rows of the batch.
    division_g : Decimal
        Of the scale, g.

    Returns
    -------
    list of Bounds
        Whole divisions about each aim. Any masses within the bounds of all rows still open keep
        the ratio, half a division of reading on each row included wherever the batch is large
        enough for that.
    """
    return [_bounds(ratio, rows, i, division_g) for i in range(len(rows))]


def _bounds(ratio: MixRatio, rows: Sequence[WeighRow], now: int, division_g: Decimal) -> Bounds:
    row, division = rows[now], float(division_g)
    open_rows = [one for i, one in enumerate(rows) if i == now or one.is_open]
    others = [one for i, one in enumerate(rows) if i != now and one.role == row.role]
    resin = sum((one.weighed_g for one in rows if one.role == "resin"), Decimal(0))
    follows = resin > 0 and all(one.role == "hardener" for one in open_rows)
    wanted = resin * Decimal(repr(ratio.hardener_per_100)) / 100
    still_open = sum(1 for one in others if one.is_open)
    there = sum((one.weighed_g for one in others), Decimal(0))
    whole = wanted if follows else sum((o.target_g for o in (row, *others)), Decimal(0))
    # What its other rows leave for it: those still open take a division each at least.
    room = whole - there - still_open * division_g
    if follows:
        room = (room / division_g).to_integral_value(ROUND_HALF_UP) * division_g
    aim = max(division_g, min(row.target_g, room) if still_open else room)
    total = {
        role: _total(
            rows, open_rows, row, role, aim, float(wanted) if follows else None, division_g
        )
        for role in ("resin", "hardener")
    }
    rich_g, poor_g = _left(ratio, rows, total, division)
    per_resin, tolerance = ratio.hardener_per_100 / 100, ratio.tolerance_percent / 100
    rich = division_g * _window(open_rows, row, rich_g, per_resin * (1 + tolerance), division)
    poor = division_g * _window(open_rows, row, poor_g, per_resin * (1 - tolerance), division)
    less, more = (rich, poor) if row.role == "resin" else (poor, rich)
    return Bounds(aim, max(min(aim, division_g), aim - less), aim + more)


def _total(
    rows: Sequence[WeighRow],
    open_rows: Sequence[WeighRow],
    now: WeighRow,
    role: str,
    aim_g: Decimal,
    wanted_g: float | None,
    division_g: Decimal,
) -> float:
    """Return what a component comes to when every open row is on its aim, g."""
    mine = [one for one in rows if one.role == role]
    left = [one for one in open_rows if one.role == role]
    there = sum((one.weighed_g for one in mine if one not in left and one is not now), Decimal(0))
    if not left:
        return float(there)
    if role == now.role and len(left) == 1:
        return float(aim_g + there)
    planned = sum((one.target_g for one in mine), Decimal(0))
    if role == "hardener" and wanted_g is not None:
        planned = Decimal(repr(wanted_g))
    # What is too much already, rows still open cannot take out again: each gets one division at
    # least, and the row that is weighed now is on its own aim.
    least = len(left) * division_g
    if role == now.role:
        least += aim_g - division_g
    return float(max(planned, there + least))


def _left(
    ratio: MixRatio, rows: Sequence[WeighRow], total_g: dict[str, float], division: float
) -> tuple[float, float]:
    """Return how much hardener there may be more, and less, before the ratio is left, g."""
    per_resin, tolerance = ratio.hardener_per_100 / 100, ratio.tolerance_percent / 100
    halves = {r: division / 2 * sum(1 for one in rows if one.role == r) for r in total_g}
    for part in (1.0, 0.0):
        resin_half, hardener_half = part * halves["resin"], part * halves["hardener"]
        rich = per_resin * (1 + tolerance) * (total_g["resin"] - resin_half) - (
            total_g["hardener"] + hardener_half
        )
        poor = (
            total_g["hardener"]
            - hardener_half
            - per_resin * (1 - tolerance) * (total_g["resin"] + resin_half)
        )
        if min(rich, poor) >= 0:
            break
    return max(0.0, rich), max(0.0, poor)


def _window(
    open_rows: Sequence[WeighRow], row: WeighRow, left_g: float, resin_cost: float, division: float
) -> int:
    """Return how many divisions one row gets of what is left; resin counts at `resin_cost`."""
    weights = (
        (resin_cost if one.role == "resin" else 1.0) * math.sqrt(float(one.target_g))
        for one in open_rows
    )
    share = left_g * math.sqrt(float(row.target_g)) / sum(weights)
    return max(0, math.floor(share / division - _EDGE))
