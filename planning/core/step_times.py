"""How long a step of work really takes, from what a shop has written down."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

LEAST_RECORDS = 3
"""Fewer say too little to move a plan. A choice of this project, no source."""
TEMPLATE_WEIGHT = 4
"""The template counts as so many records. A choice of this project, no source."""
MOST_RATIO = 4.0
"""A record beyond a quarter or four times the template is taken for a slip of the pen."""


@dataclass(frozen=True)
class Pace:
    """
    How a kind of step goes in this shop, against its template.

    Attributes
    ----------
    factor : float
        What to multiply the template's hands-on minutes by; 1 while too little is known.
    records : int
        Records it rests on, slips of the pen left out.
    median : float or None
        The middle one of the recorded ratios, of 1; None without records.
    left_out : int
        Records left out as slips.
    """

    factor: float = 1.0
    records: int = 0
    median: float | None = None
    left_out: int = 0

    def minutes(self, template_min: int) -> int:
        """Return the hands-on minutes to plan with: whole, at least 1 where there is any work."""
        if template_min <= 0:
            return template_min
        return max(1, math.floor(template_min * self.factor + 0.5))


def pace_of(records: Sequence[tuple[float, float]]) -> Pace:
    """
    Return how a kind of step goes, from its records.

    The median of recorded over template minutes, drawn towards 1 as if the template were four
    records more: one slow day moves a plan little, thirty move it nearly all the way.

    Parameters
    ----------
    records : sequence of (float, float), shape (n, 2)
        Minutes it took and minutes of its template, each pair above 0 min.

    Returns
    -------
    Pace
        With factor 1 below three records.

    Raises
    ------
    ValueError
        If a template has no minutes.

    Notes
    -----
    The median is unmoved by up to half the records being wrong (its breakdown point is 1/2); a
    mean of means would follow one. Drawing a small sample's figure to a known one with a fixed
    weight is the usual credibility or shrinkage estimate, n / (n + k).

    References
    ----------
    .. [1] P. J. Huber and E. M. Ronchetti, *Robust Statistics*, 2nd ed., 2009, ch. 1 (breakdown
       point of the median); H. Buehlmann, "Experience rating and credibility", ASTIN Bulletin 4
       (1967), Z = n / (n + k). Basis: from memory.

    Examples
    --------
    >>> pace_of([(30, 20)] * 4).factor
    1.25
    """
    if any(template <= 0 for _, template in records):
        raise ValueError("a template without minutes has no pace")
    ratios = [took / template for took, template in records]
    kept = [ratio for ratio in ratios if 1 / MOST_RATIO <= ratio <= MOST_RATIO]
    left_out = len(ratios) - len(kept)
    median = statistics.median(kept) if kept else None
    if median is None or len(kept) < LEAST_RECORDS:
        return Pace(1.0, len(kept), median, left_out)
    share = len(kept) / (len(kept) + TEMPLATE_WEIGHT)
    return Pace(1 + share * (median - 1), len(kept), median, left_out)
