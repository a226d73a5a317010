"""
The cans of one material while pots are weighed from them in order of time.

One model for all who ask: the search (can this board be served), the repair of an earlier plan and
the choice of lots. A sealed can is opened by the first pot weighed from it, and from then on keeps
no longer than its open life; that first pot may be one that is frozen, or one that is weighed
before it.

Lifeless cans (opened already, or sealed ones whose open life does not bind) are best taken by
date: of two that may serve a pot, the one that keeps longer may serve every later pot the other
one could. So `BY_DATE` finds a way whenever there is one, as long as no open life binds. Where one
does, it matters when each can is opened; the ways of `RANKS` are tried in turn, and `opening.py`
decides what they leave undecided.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

DUST_KG = 1e-7
"""Less than the tolerance of the rules; nothing is taken for it."""


class Can(NamedTuple):
    """A container, or several alike whose open life does not bind, of one material."""

    lot: str
    id: str
    kg: float
    since: int
    """There and released from this minute on."""
    until: int
    """Expiry, or the end of its open life where it is opened already, min."""
    life: int | None
    """Open life where it binds: the can is sealed and would keep longer unopened, min."""
    opened: bool


class Need(NamedTuple):
    """What one pot takes of one material; `can` is the one it is promised from, or -1."""

    key: int
    material: str
    role: str
    kg: float
    start: int
    pour_end: int
    can: int = -1


class Use(NamedTuple):
    """Material taken from a can, by its number."""

    can: int
    kg: float


class Short(NamedTuple):
    """The first need that could not be served in full."""

    need: Need
    kg: float
    left_kg: float
    """Left in all cans then, whether or not they may be used."""


@dataclass
class Shelf:
    """Cans as they are at one moment of a walk through the pots."""

    cans: Sequence[Can]
    left: list[float]
    until: list[int]
    begun: list[bool]
    """Opened, before the plan or in it."""
    keep: dict[int, int] = field(default_factory=dict)
    """Until when a sealed can must keep for pots that are promised from it, by can."""

    @classmethod
    def full(cls, cans: Sequence[Can], promised: Iterable[Need] = ()) -> Shelf:
        """Return the cans unopened, less what is promised from them."""
        shelf = cls(cans, [c.kg for c in cans], [c.until for c in cans], [c.opened for c in cans])
        for need in promised:
            shelf.left[need.can] -= need.kg
            if shelf.costs(need.can):
                shelf.keep[need.can] = max(need.pour_end, shelf.keep.get(need.can, 0))
        return shelf

    def costs(self, can: int) -> bool:
        """Return whether opening a can would cost some of its time."""
        return not self.begun[can] and self.cans[can].life is not None

    def lasts(self, can: int, start: int) -> int:
        """Return until when a can keeps that is used at `start`."""
        life = self.cans[can].life
        if life is None or self.begun[can]:
            return self.until[can]
        return min(self.until[can], start + life)

    def usable(self, need: Need) -> list[int]:
        """Return the cans a pot may be weighed from."""
        start, end = need.start, need.pour_end
        found = []
        for i, can in enumerate(self.cans):
            if self.left[i] <= DUST_KG or can.since > start or self.until[i] < end:
                continue
            if self.costs(i) and self.lasts(i, start) < max(end, self.keep.get(i, end)):
                continue
            found.append(i)
        return found

    def open(self, can: int, start: int) -> None:
        """Let the open life of a sealed can begin."""
        self.until[can] = self.lasts(can, start)
        self.begun[can] = True


Order = Callable[[Shelf, Need, list[int]], list[int]]
"""Puts the usable cans in the order in which a pot takes from them."""


def opened_first(shelf: Shelf, need: Need, cans: list[int]) -> list[int]:
    """Return opened cans first, each by date."""
    return sorted(cans, key=lambda i: (not shelf.begun[i], shelf.until[i], i))


def by_date(shelf: Shelf, need: Need, cans: list[int]) -> list[int]:
    """Return cans by date, those that opening costs life after all others."""
    return sorted(cans, key=lambda i: (shelf.costs(i), shelf.until[i], not shelf.begun[i], i))


def _by_label(shelf: Shelf, need: Need, cans: list[int]) -> list[int]:
    return sorted(cans, key=lambda i: (shelf.until[i], not shelf.begun[i], i))


def _by_date_if_opened(shelf: Shelf, need: Need, cans: list[int]) -> list[int]:
    return sorted(cans, key=lambda i: (shelf.lasts(i, need.start), not shelf.begun[i], i))


RANKS: tuple[Order, ...] = (by_date, _by_label, _by_date_if_opened)
"""Ways to choose among cans, the surest first."""

Served = dict[int, list[Use]]
"""What each pot takes, by its key."""


def walk(
    cans: Sequence[Can], needs: Sequence[Need], promised: Sequence[Need], order: Order
) -> tuple[Served, Short | None]:
    """
    Weigh pot after pot, each from the usable cans in the given order.

    Parameters
    ----------
    needs : sequence of Need
        In order of weighing.
    promised : sequence of Need
        What frozen pots take, in order of weighing; each has its own can.

    Returns
    -------
    (served, short)
        `short` is the first need that was not served in full, None where all are.
    """
    shelf = Shelf.full(cans, promised)
    served: Served = {}
    first: Short | None = None
    ahead = 0
    for need in needs:
        while ahead < len(promised) and promised[ahead].start <= need.start:
            shelf.open(promised[ahead].can, promised[ahead].start)
            ahead += 1
        uses, rest = [], need.kg
        for i in order(shelf, need, shelf.usable(need)):
            if rest <= DUST_KG:
                break
            taken = min(rest, shelf.left[i])
            shelf.open(i, need.start)
            shelf.left[i] -= taken
            rest -= taken
            uses.append(Use(i, taken))
        served[need.key] = uses
        if rest > DUST_KG and first is None:
            first = Short(need, rest, sum(max(0.0, kg) for kg in shelf.left))
    return served, first


def serve(
    cans: Sequence[Can], needs: Sequence[Need], promised: Sequence[Need], first: Sequence[Order]
) -> tuple[Served | None, Short | None]:
    """
    Serve every pot, in the first of several orders that serves them all.

    Returns
    -------
    (served, None) or (None, short)
        With `short` of the surest order where none of them serves all pots.
    """
    short: Short | None = None
    for order in (*first, *RANKS):
        served, lacking = walk(cans, needs, promised, order)
        if lacking is None:
            return served, None
        if order is RANKS[0]:
            short = lacking
            if _lacks_anyway(cans, needs, promised):
                return None, short
    return None, short


def _lacks_anyway(cans: Sequence[Can], needs: Sequence[Need], promised: Sequence[Need]) -> bool:
    """Return whether pots would lack material if opening cost no can any of its life."""
    if all(can.life is None for can in cans):
        return True
    lifeless = [can._replace(life=None) for can in cans]
    return walk(lifeless, needs, promised, by_date)[1] is not None
