"""What is in a pot and what it can fill: exact arithmetic on decimals, kg."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal

STEP_KG = Decimal("0.0001")
"""The smallest step in which masses are recorded."""


@dataclass(frozen=True)
class Offer:
    """
    What a pot gives to each of its portions.

    Attributes
    ----------
    pourable_kg : Decimal
        What was weighed, less what stays in the pot and on the tools.
    kg : tuple of Decimal
        One a portion, in their order; never more than planned, together never above
        `pourable_kg` less what is poured already.
    missing_kg : Decimal
        What the portions still open lack of their plan; 0 when the pot is full enough.
    over_kg : Decimal
        What is left when all of them are full.
    """

    pourable_kg: Decimal
    kg: tuple[Decimal, ...]
    missing_kg: Decimal
    over_kg: Decimal


def offer(
    *,
    weighed_kg: Decimal,
    residue_kg: Decimal,
    poured_kg: Decimal,
    open_kg: Sequence[Decimal],
    division_kg: Decimal = STEP_KG,
) -> Offer:
    """
    Divide what is really in a pot over the portions that are still to be poured.

    Parameters
    ----------
    weighed_kg : Decimal
        All components really weighed, kg.
    residue_kg : Decimal
        What stays in the pot and on the tools, kg.
    poured_kg : Decimal
        What is poured from it already, kg.
    open_kg : sequence of Decimal
        Planned masses of the portions still to be poured, kg.
    division_kg : Decimal
        The scale's division, kg; a pot that lacks less than that for each portion is not short.

    Returns
    -------
    Offer
        Each portion as planned while there is enough, else all of them in the planned proportion.

    Examples
    --------
    >>> offer(weighed_kg=Decimal("4.5"), residue_kg=Decimal("0.1"), poured_kg=Decimal(0),
    ...       open_kg=[Decimal("5.5"), Decimal("1.9")]).kg
    (Decimal('3.2702'), Decimal('1.1297'))
    """
    pourable = max(Decimal(0), weighed_kg - residue_kg)
    left = max(Decimal(0), pourable - poured_kg)
    planned = sum(open_kg, Decimal(0))
    if planned <= 0:
        return Offer(pourable, (), Decimal(0), left)
    if left >= planned:
        shares = [kg.quantize(STEP_KG, ROUND_FLOOR) for kg in open_kg]
        return Offer(pourable, tuple(shares), Decimal(0), left - planned)
    shares = [(kg * left / planned).quantize(STEP_KG, ROUND_FLOOR) for kg in open_kg]
    missing = planned - left
    if missing <= division_kg * len(open_kg):
        missing = Decimal(0)
    return Offer(pourable, tuple(shares), missing, Decimal(0))


@dataclass(frozen=True)
class Row:
    """A row of the sheet: its component, its least mass, what is weighed, whether it is closed."""

    role: str
    low_kg: Decimal
    weighed_kg: Decimal
    no_more: bool = False


def all_weighed(rows: Sequence[Row]) -> bool:
    """
    Say whether nothing is left to weigh, the ratio apart.

    Each component is in the pot, and its rows hold together their least masses; a row of which
    somebody has said that no more goes in counts as it is. What follows the resin really in
    the pot needs only be there: its ratio decides.
    """
    for role in {"resin", "hardener"} | {row.role for row in rows}:
        if not any(row.weighed_kg > 0 for row in rows if row.role == role):
            return False
    resin = [row for row in rows if row.role == "resin"]
    have = sum((row.weighed_kg for row in resin), Decimal(0))
    if have >= sum((row.low_kg for row in resin), Decimal(0)):
        return True
    return all(row.no_more or row.weighed_kg >= row.low_kg for row in resin)
