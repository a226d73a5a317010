"""Which lots to take: first expired first out at a date, and few lot pairs per casting."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from itertools import permutations

ZERO = Decimal(0)
_MOST_LOTS_TRIED_IN_EVERY_ORDER = 4


@dataclass(frozen=True)
class Holding:
    """
    What is on the shelf of one lot, opened or sealed, in the material's own unit.

    A lot with an opened container and sealed ones is two holdings of the same `lot`.
    """

    lot: str
    quantity: Decimal
    usable_until: date | None = None
    opened: bool = False
    quarantined: bool = False
    usable_from: date | None = None
    """First day it is there, for a receipt that is due."""


@dataclass(frozen=True)
class Pick:
    """Take `quantity` from a holding."""

    lot: str
    quantity: Decimal
    opened: bool = False


@dataclass(frozen=True)
class LeftOut:
    """A holding that could not be used, and why in words."""

    lot: str
    quantity: Decimal
    reason: str


@dataclass(frozen=True)
class Allocation:
    """What to take, what is short, and what was left out with its reason."""

    picks: tuple[Pick, ...]
    short: Decimal
    left_out: tuple[LeftOut, ...]

    @property
    def reason(self) -> str:
        """Why it is short, in words; empty if it is not."""
        if not self.short:
            return ""
        held = "; ".join(f"{x.quantity} of lot {x.lot} {x.reason}" for x in self.left_out)
        return f"short by {self.short}" + (f"; not usable: {held}" if held else "")


def order_key(holding: Holding) -> tuple[bool, date, str]:
    """Sort opened containers first, then by last usable day, then by lot code."""
    return (not holding.opened, holding.usable_until or date.max, holding.lot)


def why_not(holding: Holding, on: date) -> str | None:
    """Say in words why a holding can't be used on a day, or None if it can."""
    if holding.quarantined:
        return "is in quarantine"
    if holding.usable_until is not None and holding.usable_until < on:
        clock = "open life ended" if holding.opened else "expired"
        return f"{clock} on {holding.usable_until.isoformat()}"
    if holding.usable_from is not None and holding.usable_from > on:
        return f"is due only on {holding.usable_from.isoformat()}"
    return None


def allocate(holdings: Iterable[Holding], need: Decimal, on: date) -> Allocation:
    """
    Pick lots for one need, first expired first out.

    Parameters
    ----------
    holdings : iterable of Holding
        Stock free to be used, in the unit of `need`. Order does not matter.
    need : decimal.Decimal
        Quantity wanted, 0 or more.
    on : datetime.date
        Day of use. The expiry day itself is still usable.

    Returns
    -------
    Allocation
        Picks in the order they should be taken; ``sum(picks) + short == need``. Unusable stock
        is named with its reason, also when nothing is short.

    Raises
    ------
    ValueError
        If `need` or a quantity is negative.

    Notes
    -----
    First expired first out is common practice in food and pharmacy stores, no source opened.
    Opened containers come first, so that no second one is opened; among them and among the
    sealed ones the first to expire, ties by lot code.
    """
    if need < 0:
        raise ValueError(f"need is {need}; it must be 0 or more")
    usable, left_out = _sift(holdings, on)
    picks: list[Pick] = []
    for holding in usable:
        if need <= 0:
            break
        take = min(need, holding.quantity)
        picks.append(Pick(holding.lot, take, holding.opened))
        need -= take
    return Allocation(tuple(picks), need, left_out)


def _sift(holdings: Iterable[Holding], on: date) -> tuple[list[Holding], tuple[LeftOut, ...]]:
    usable, left_out = [], []
    for holding in sorted(holdings, key=order_key):
        if holding.quantity < 0:
            raise ValueError(f"lot {holding.lot} holds {holding.quantity}; it can't be below 0")
        if holding.quantity == 0:
            continue
        reason = why_not(holding, on)
        if reason is None:
            usable.append(holding)
        else:
            left_out.append(LeftOut(holding.lot, holding.quantity, reason))
    return usable, tuple(left_out)


@dataclass(frozen=True)
class CastingNeed:
    """Resin and hardener one casting takes on a day, both in kg."""

    casting: str
    on: date
    resin_kg: Decimal
    hardener_kg: Decimal


@dataclass(frozen=True)
class LotPair:
    """Part of a casting mixed from one resin lot and one hardener lot, both in kg."""

    resin_lot: str
    hardener_lot: str
    resin_kg: Decimal
    hardener_kg: Decimal


@dataclass(frozen=True)
class PairedAllocation:
    """The lot pairs of one casting, with what is short of either component."""

    casting: str
    pairs: tuple[LotPair, ...]
    resin: Allocation
    hardener: Allocation


def allocate_pairs(
    castings: Iterable[CastingNeed],
    resin: Iterable[Holding],
    hardener: Iterable[Holding],
    *,
    few_pairs: bool = True,
) -> tuple[PairedAllocation, ...]:
    """
    Allocate resin and hardener lots to castings with as few lot pairs per casting as possible.

    Parameters
    ----------
    castings : iterable of CastingNeed
        Served in order of day, then as given; each leaves less for the next.
    resin, hardener : iterable of Holding
        Free stock, kg.
    few_pairs : bool, default True
        True takes the fewest lots that cover a casting and, among those choices, the first to
        expire. False takes strictly first expired first out.

    Returns
    -------
    tuple of PairedAllocation
        In the order served. A casting that is short is served with what there is, and says so.

    Notes
    -----
    A casting from `m` resin lots and `n` hardener lots needs at most ``m + n - 1`` pairs, fewer
    where full lots match in ratio (kits); up to four lots a side, every order is tried for that.
    The fewest lots are exact; which of several fewest sets matches best in ratio is not searched.
    Picks add up to the need exactly; the cuts between pairs are unrounded shares of it.
    """
    resin_left, hardener_left = list(resin), list(hardener)
    result = []
    for need in sorted(castings, key=lambda c: c.on):
        r = _choose(resin_left, need.resin_kg, need.on, few_pairs)
        h = _choose(hardener_left, need.hardener_kg, need.on, few_pairs)
        pairs = pair_up(r.picks, h.picks, need.resin_kg, need.hardener_kg)
        result.append(PairedAllocation(need.casting, pairs, r, h))
        resin_left, hardener_left = less(resin_left, r.picks), less(hardener_left, h.picks)
    return tuple(result)


def less(holdings: Iterable[Holding], picks: Iterable[Pick]) -> list[Holding]:
    """Return the holdings with the picks taken out."""
    taken: dict[tuple[str, bool], Decimal] = {}
    for pick in picks:
        key = (pick.lot, pick.opened)
        taken[key] = taken.get(key, ZERO) + pick.quantity
    left = []
    for holding in holdings:
        take = min(holding.quantity, taken.get((holding.lot, holding.opened), ZERO))
        if take:
            taken[holding.lot, holding.opened] -= take
        left.append(replace(holding, quantity=holding.quantity - take))
    return left


def _choose(holdings: Sequence[Holding], need: Decimal, on: date, few: bool) -> Allocation:
    usable, left_out = _sift(holdings, on)
    if few and sum((h.quantity for h in usable), ZERO) >= need:
        usable = _fewest(usable, need)
    return replace(allocate(usable, need, on), left_out=left_out)


def _fewest(usable: list[Holding], need: Decimal) -> list[Holding]:
    """Return the fewest holdings that cover the need; of those sets, the first in order."""
    largest = sorted((h.quantity for h in usable), reverse=True)
    count, covered = 0, ZERO
    while covered < need:
        covered += largest[count]
        count += 1
    chosen: list[Holding] = []
    have = ZERO
    for place, holding in enumerate(usable):
        wanted = count - len(chosen) - 1
        if wanted < 0:
            break
        best_rest = sorted((h.quantity for h in usable[place + 1 :]), reverse=True)[:wanted]
        if have + holding.quantity + sum(best_rest, ZERO) >= need:
            chosen.append(holding)
            have += holding.quantity
    return chosen


def pair_up(
    resin: Sequence[Pick], hardener: Sequence[Pick], resin_kg: Decimal, hardener_kg: Decimal
) -> tuple[LotPair, ...]:
    """
    Split picks of both components into pairs at the ratio of the needs.

    Parameters
    ----------
    resin, hardener : sequence of Pick
        Picks, kg.
    resin_kg, hardener_kg : decimal.Decimal
        What the whole casting takes of each; their ratio is the ratio of every pair.

    Returns
    -------
    tuple of LotPair
        As few pairs as the order of the picks allows; what has no partner is left out.
    """
    if not resin or not hardener or resin_kg <= 0 or hardener_kg <= 0:
        return ()
    best = _walk(resin, hardener, resin_kg, hardener_kg)
    if max(len(resin), len(hardener)) > _MOST_LOTS_TRIED_IN_EVERY_ORDER:
        return best
    for r in permutations(resin):
        for h in permutations(hardener):
            found = _walk(r, h, resin_kg, hardener_kg)
            if len(found) < len(best):
                best = found
    return best


def _walk(
    resin: Sequence[Pick], hardener: Sequence[Pick], resin_kg: Decimal, hardener_kg: Decimal
) -> tuple[LotPair, ...]:
    # Breakpoints are compared as products, so that a ratio such as 100 : 3 needs no division.
    cuts_r = _cumulative(p.quantity for p in resin)
    cuts_h = _cumulative(p.quantity for p in hardener)
    pairs, i, j, r0, h0 = [], 0, 0, ZERO, ZERO
    while i < len(resin) and j < len(hardener):
        side = cuts_r[i] * hardener_kg - cuts_h[j] * resin_kg
        if side <= 0:
            r1, h1 = cuts_r[i], cuts_h[j] if side == 0 else cuts_r[i] * hardener_kg / resin_kg
        else:
            r1, h1 = cuts_h[j] * resin_kg / hardener_kg, cuts_h[j]
        pairs.append(LotPair(resin[i].lot, hardener[j].lot, r1 - r0, h1 - h0))
        i, j, r0, h0 = i + (side <= 0), j + (side >= 0), r1, h1
    return tuple(pairs)


def _cumulative(quantities: Iterable[Decimal]) -> list[Decimal]:
    total, cuts = ZERO, []
    for quantity in quantities:
        total += quantity
        cuts.append(total)
    return cuts
