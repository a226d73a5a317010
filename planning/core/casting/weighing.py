"""
What a scale can honestly weigh: targets on its division that keep the mix ratio.

A reading of `r` on a scale that shows divisions of `d` says the mass lies in ``r - d/2`` to
``r + d/2``. A pair of readings keeps the ratio only if every pair of masses in those two intervals
does. All of it is exact arithmetic on fractions; nothing is rounded but the targets themselves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from planning.core.casting import require
from planning.core.casting.mixing import MixRatio, exact


@dataclass(frozen=True)
class Targets:
    """What to weigh, on the scale's division, and how far off the ratio can be at worst."""

    resin_g: float
    hardener_g: float
    total_g: float
    worst_error_percent: float
    """Largest error of the ratio that the two readings leave possible, % of the ratio."""
    within_tolerance: bool
    resin_low_g: float
    resin_high_g: float
    hardener_low_g: float
    hardener_high_g: float
    """With the other component on target, readings in these bounds keep the ratio."""


def weigh_targets(
    ratio: MixRatio,
    total_g: float,
    resin_readability_g: float,
    hardener_readability_g: float | None = None,
) -> Targets:
    """
    Return the readings to weigh for a batch of at least `total_g`.

    The least whole number of divisions of resin is taken with which the hardener, rounded to the
    division nearest its share, makes up the batch.

    Parameters
    ----------
    ratio : MixRatio
        Ratio and tolerance of the system.
    total_g : float
        Mass of the batch, g.
    resin_readability_g, hardener_readability_g : float
        Divisions of the scales, g; one scale serves both when the second is left out.

    Returns
    -------
    Targets
        The pair, its worst case and the bounds to show while weighing.

    Raises
    ------
    ValueError
        If the mass or a readability is not positive.

    See Also
    --------
    smallest_honest_batch_g : From which mass on the targets always keep the tolerance.

    Examples
    --------
    >>> t = weigh_targets(MixRatio(12.0, 2.0), 1120.0, 1.0)
    >>> t.resin_g, t.hardener_g, round(t.worst_error_percent, 2)
    (1000.0, 120.0, 0.47)
    """
    require.positive(total_g=total_g, resin_readability_g=resin_readability_g)
    d_resin, d_hardener = _divisions(resin_readability_g, hardener_readability_g)
    per_resin = exact(ratio.hardener_per_100) / 100
    resin, hardener = _pair(per_resin, exact(total_g), d_resin, d_hardener)
    worst = _worst_error(per_resin, resin, hardener, d_resin, d_hardener)
    tolerance = exact(ratio.tolerance_percent) / 100
    ideal, h, half_r, half_h = per_resin, hardener, d_resin / 2, d_hardener / 2
    resin_low = (h + half_h) / (ideal * (1 + tolerance)) + half_r
    resin_high = (h - half_h) / (ideal * (1 - tolerance)) - half_r
    hardener_low = ideal * (1 - tolerance) * (resin + half_r) + half_h
    hardener_high = ideal * (1 + tolerance) * (resin - half_r) - half_h
    return Targets(
        float(resin), float(hardener), float(resin + hardener),
        float(100 * worst), worst <= tolerance,
        float(math.ceil(resin_low / d_resin) * d_resin),
        float(math.floor(resin_high / d_resin) * d_resin),
        float(math.ceil(hardener_low / d_hardener) * d_hardener),
        float(math.floor(hardener_high / d_hardener) * d_hardener),
    )  # fmt: skip


def smallest_honest_batch_g(
    ratio: MixRatio, resin_readability_g: float, hardener_readability_g: float | None = None
) -> float:
    """
    Return the mass from which every batch can be weighed inside the ratio's tolerance.

    Parameters
    ----------
    ratio : MixRatio
        Ratio and tolerance of the system.
    resin_readability_g, hardener_readability_g : float
        Divisions of the scales, g; one scale serves both when the second is left out.

    Returns
    -------
    float
        Mass of the batch, g. Every larger batch has targets within tolerance whatever the true
        masses behind the readings are; some smaller ones may by luck.

    Raises
    ------
    ValueError
        If a readability is not positive.

    Notes
    -----
    In divisions, a hardener reading may be off by 1/2 from rounding the target and 1/2 from
    reading it, which bounds the resin count from above; below that bound every count is tried
    exactly, downwards, until one fails.

    Examples
    --------
    >>> smallest_honest_batch_g(MixRatio(12.0, 2.0), 1.0)
    482.0
    """
    require.positive(resin_readability_g=resin_readability_g)
    d_resin, d_hardener = _divisions(resin_readability_g, hardener_readability_g)
    per_resin = exact(ratio.hardener_per_100) / 100
    tolerance = exact(ratio.tolerance_percent) / 100
    # h + d_h <= rho (1+tol) (r - d_r/2) with h = rho r, and the light side the same way.
    enough = (d_hardener + per_resin * (1 + tolerance) * d_resin / 2) / (per_resin * tolerance)
    count = math.ceil(enough / d_resin) + 1
    while count > 0:
        resin = count * d_resin
        hardener = _nearest(per_resin * resin, d_hardener)
        if _worst_error(per_resin, resin, hardener, d_resin, d_hardener) > tolerance:
            break
        count -= 1
    resin = (count + 1) * d_resin
    return float(resin + _nearest(per_resin * resin, d_hardener))


def _pair(
    per_resin: Fraction, total: Fraction, d_resin: Fraction, d_hardener: Fraction
) -> tuple[Fraction, Fraction]:
    # Hardener rounded up may make good for resin rounded down: start that far below.
    spare = math.ceil(d_hardener / 2 / d_resin) + 1
    resin = max(0, math.ceil(total / (1 + per_resin) / d_resin) - spare) * d_resin
    while resin + _nearest(per_resin * resin, d_hardener) < total:
        resin += d_resin
    return resin, _nearest(per_resin * resin, d_hardener)


def _worst_error(
    per_resin: Fraction,
    resin: Fraction,
    hardener: Fraction,
    d_resin: Fraction,
    d_hardener: Fraction,
) -> Fraction:
    if resin <= d_resin / 2 or hardener <= d_hardener / 2:
        return Fraction(10**6)  # the scale cannot tell this mass from nothing
    rich = (hardener + d_hardener / 2) / (resin - d_resin / 2) / per_resin - 1
    poor = 1 - (hardener - d_hardener / 2) / (resin + d_resin / 2) / per_resin
    return max(rich, poor)


def _divisions(resin_g: float, hardener_g: float | None) -> tuple[Fraction, Fraction]:
    if hardener_g is None:
        return exact(resin_g), exact(resin_g)
    require.positive(hardener_readability_g=hardener_g)
    return exact(resin_g), exact(hardener_g)


def _nearest(value: Fraction, division: Fraction) -> Fraction:
    return round(value / division) * division
