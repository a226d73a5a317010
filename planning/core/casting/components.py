"""
A mix of resin, hardener and further components: their shares, targets and bounds.

Each component but the resin has its parts to 100 of resin by mass (phr, parts per hundred resin)
and a tolerance of its own. Every rule of resin and hardener holds for resin and each component as
a pair. A row of resin stands in all pairs, and the tightest of its bounds holds: so no allowed
combination of masses leaves any of the ratios.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from planning.core.casting import require
from planning.core.casting.line_bounds import Bounds, WeighRow, bounds_of
from planning.core.casting.mixing import Correction, MixRatio, correct_overpour, exact

RESIN, HARDENER = "resin", "hardener"

Ratios = Mapping[str, MixRatio]
"""Parts to 100 of resin of each component but the resin, by its name, in order of weighing."""


def targets_g(ratios: Ratios, total_g: float, division_g: Decimal) -> dict[str, Decimal]:
    """
    Return what to weigh of each component for a batch of at least `total_g`, g.

    The least whole number of divisions of resin is taken with which the others, each rounded to
    the division nearest its share and one division at least, make up the batch.

    Examples
    --------
    >>> ratios = {"filler": MixRatio(50.0), "hardener": MixRatio(12.0)}
    >>> [int(g) for g in targets_g(ratios, 1620.0, Decimal(1)).values()]
    [1000, 500, 120]
    """
    require.positive(total_g=total_g, division_g=float(division_g))
    division, total = exact(float(division_g)), exact(total_g)
    shares = {name: exact(ratio.hardener_per_100) / 100 for name, ratio in ratios.items()}

    def counts(resin: int) -> dict[str, int]:
        return {name: max(1, round(share * resin)) for name, share in shares.items()}

    # Others rounded up may make good for resin rounded down: start that far below.
    spare = 1 + math.ceil(len(shares) / 2)
    resin = max(1, math.ceil(total / (1 + sum(shares.values())) / division) - spare)
    while (resin + sum(counts(resin).values())) * division < total:
        resin += 1
    return {name: n * division_g for name, n in {RESIN: resin, **counts(resin)}.items()}


def bounds_of_rows(ratios: Ratios, rows: Sequence[WeighRow], division_g: Decimal) -> list[Bounds]:
    """
    Return the bounds of every row, each as if it were weighed next; see `bounds_of`.

    Any masses within the bounds of all rows still open keep the ratio of every component.
    """
    found: list[Bounds | None] = [None] * len(rows)
    for name, ratio in ratios.items():
        places = [i for i, row in enumerate(rows) if row.role in (RESIN, name)]
        pair = [
            rows[i] if rows[i].role == RESIN else replace(rows[i], role=HARDENER) for i in places
        ]
        for i, one in zip(places, bounds_of(ratio, pair, division_g), strict=True):
            found[i] = _tighter(found[i], one)
    return [
        Bounds(row.target_g, row.target_g, row.target_g) if one is None else one
        for row, one in zip(rows, found, strict=True)
    ]


def _tighter(known: Bounds | None, other: Bounds) -> Bounds:
    if known is None:
        return other
    low, high = max(known.low_g, other.low_g), min(known.high_g, other.high_g)
    return Bounds(known.aim_g, low, high)


@dataclass(frozen=True)
class Off:
    """How far a component is off its ratio, % of itself; positive is too much."""

    name: str
    percent: float
    tolerance_percent: float
    within: bool

    @property
    def words(self) -> str:
        """Say it as the pages do."""
        much = "much" if self.percent > 0 else "little"
        return (
            f"{abs(self.percent):.1f} % too {much} {self.name}; ± {self.tolerance_percent:g} % "
            "is allowed."
        )


def worst_off(ratios: Ratios, weighed: Mapping[str, Decimal]) -> Off | None:
    """
    Return the component to put right first; None while one of them is missing.

    That is the one most above its tolerance, for resin added makes all others less; then the one
    most below it. Where all are within, the one nearest to its limit.
    """
    if not all(weighed.get(name, 0) > 0 for name in (RESIN, *ratios)):
        return None
    return _first(ratios, {name: float(kg) for name, kg in weighed.items()})


def _first(ratios: Ratios, masses: Mapping[str, float]) -> Off:
    found = []
    for name, ratio in ratios.items():
        resin, mine = masses[RESIN], masses.get(name, 0.0)
        percent = ratio.error_percent(resin, mine)
        found.append(Off(name, percent, ratio.tolerance_percent, ratio.keeps(resin, mine)))

    def share(one: Off) -> float:
        return one.percent / one.tolerance_percent

    wrong = [one for one in found if not one.within]
    rich = [one for one in wrong if one.percent > 0]
    if rich:
        return max(rich, key=share)
    return max(wrong or found, key=lambda one: abs(share(one)))


def correct(
    ratios: Ratios,
    grams: Mapping[str, float],
    division_g: float,
    *,
    pot_g: float = math.inf,
    lift_g: float = math.inf,
    stock_g: Mapping[str, float] | None = None,
) -> Correction:
    """
    Return what to add next so that a pot weighed off its ratios comes right.

    One component at a time: resin for the one most above its tolerance, then each that is short.
    After it is added the answer is asked for again.

    Parameters
    ----------
    grams : mapping
        What is in the pot of each component, g; the resin above 0.
    stock_g : mapping, optional
        What is left of each component, g.

    Raises
    ------
    ValueError
        As `correct_overpour`.
    """
    first = _first(ratios, grams)
    others = float(
        sum((exact(g) for name, g in grams.items() if name not in (RESIN, first.name)), exact(0))
    )
    stock = stock_g or {}
    add = RESIN if first.percent > 0 else first.name
    return correct_overpour(
        ratios[first.name],
        grams[RESIN],
        grams.get(first.name, 0.0),
        division_g,
        component=first.name,
        pot_g=pot_g,
        lift_g=lift_g,
        stock_g=stock.get(add, math.inf),
        others_g=others,
    )
