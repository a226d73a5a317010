"""Stock ahead, day by day: first expired first out, so that the losses to expiry are true."""

from __future__ import annotations

from bisect import bisect_right, insort
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import NamedTuple

STEPS = 1_000_000
"""Steps of one unit that are counted, whole, so that sums of stock stay exact."""


def steps(quantity: float) -> int:
    """Return a quantity in whole millionths of its unit; the ledger's own step is coarser."""
    return round(quantity * STEPS)


class Supply(NamedTuple):
    """Stock on hand, or a receipt that is due on `due_on`, in the material's unit."""

    code: str
    quantity: float
    usable_until: date | None = None
    opened: bool = False
    due_on: date | None = None
    claimed_as: str | None = None
    """Name that reserved uses call it by, where its code is that of several containers."""


class Use(NamedTuple):
    """A dated need of a pour; with `lot` it is reserved from the supply claimed as that."""

    day: date
    quantity: float
    pour: str
    lot: str | None = None

    @property
    def reserved(self) -> bool:
        """Whether stock has been set aside for it."""
        return self.lot is not None


@dataclass(frozen=True)
class ShortPour:
    """A pour that goes short, by how much, and when a receipt makes it good, if one does."""

    pour: str
    day: date
    quantity: float
    made_good_on: date | None
    never_met: float
    """The part that nothing on hand or due ever covers; 0 once it is made good."""


@dataclass(frozen=True)
class Rescue:
    """A later pour that could use stock before it expires, and a pour whose pot it could share."""

    pour: str
    planned_on: date
    quantity: float
    share_with: str | None


@dataclass(frozen=True)
class AtRisk:
    """Stock that will expire unused, and what could still use it."""

    code: str
    usable_until: date
    quantity: float
    rescues: tuple[Rescue, ...]


@dataclass(frozen=True)
class MaterialOutlook:
    """
    The outlook of one material; every column has one figure a day from `start`.

    ``projected[d] = projected[d-1] + receipts[d] - reserved[d] - planned[d] - expired[d]``, where
    the day before the first is `opening`. Below zero it is what pours are short of by then.
    """

    start: date
    opening: float
    """Usable on the first day, before anything happens."""
    in_date: tuple[float, ...]
    """Usable at the start of the day, before receipts."""
    receipts: tuple[float, ...]
    reserved: tuple[float, ...]
    planned: tuple[float, ...]
    expired: tuple[float, ...]
    """Lost at the end of the day: its last usable day passed unused."""
    short: tuple[float, ...]
    """What the day's pours could not get that day."""
    projected: tuple[float, ...]
    short_pours: tuple[ShortPour, ...]
    at_risk: tuple[AtRisk, ...]
    already_expired: float
    """On the shelf but out of date before the first day; not in `opening`."""
    due_in: float
    """Sum of `receipts`; summed in whole steps, as the three that follow."""
    wanted: float
    """Sum of `reserved` and `planned`."""
    short_of: float
    """Sum of `short`."""
    lost: float
    """Sum of `expired`: what expires unused within the horizon."""

    @property
    def first_short_day(self) -> date | None:
        """The first day on which a pour goes short."""
        return self.short_pours[0].day if self.short_pours else None


@dataclass
class _Shelf:
    """Stock being used up; `queue` keeps the order of picking, `left` what is there."""

    newest_first: bool
    left: list[int] = field(default_factory=list)
    supplies: list[Supply] = field(default_factory=list)
    queue: list[tuple[bool, int, str, int]] = field(default_factory=list)
    head: int = 0
    sorted: bool = False

    def add(self, supply: Supply, quantity: int) -> int:
        index = len(self.left)
        self.left.append(quantity)
        self.supplies.append(supply)
        until = (supply.usable_until or date.max).toordinal()
        order = -until if self.newest_first else until
        key = (not supply.opened, order, supply.code, index)
        if self.sorted:
            insort(self.queue, key, lo=self.head)
        else:
            self.queue.append(key)
        return index

    def sort(self) -> None:
        """Put what was added so far into the order of picking, once; later additions slot in."""
        self.queue.sort()
        self.sorted = True

    def take(self, need: int) -> int:
        """Take up to `need` and return what was got."""
        got = 0
        while got < need and self.head < len(self.queue):
            index = self.queue[self.head][3]
            part = min(self.left[index], need - got)
            self.left[index] -= part
            got += part
            if not self.left[index]:
                self.head += 1
        return got


def project(
    supplies: Iterable[Supply],
    uses: Iterable[Use],
    *,
    start: date,
    days: int,
    rescue_days: int = 28,
    newest_first: bool = False,
) -> MaterialOutlook:
    """
    Project one material over a horizon.

    Parameters
    ----------
    supplies : iterable of Supply
        Free, released stock and receipts due. A receipt that is overdue counts on `start`.
    uses : iterable of Use
        Dated needs; one that is overdue counts on `start`. Those after the horizon are ignored
        except as rescues.
    start : datetime.date
        First day.
    days : int
        Length of the horizon, days.
    rescue_days : int, default 28
        How far after its expiry a pour is looked for that could use a lot earlier.
    newest_first : bool, default False
        Take the newest stock first instead, to show what that habit costs.

    Returns
    -------
    MaterialOutlook
        A pour that goes short keeps its claim: the next receipt serves it first.

    Raises
    ------
    ValueError
        If a quantity is negative or `days` is below 1.

    Notes
    -----
    Each day: receipts arrive, waiting pours are served, reserved uses take their own lot, then
    the other uses take opened containers and the first to expire; at the end of its last usable
    day what is left of a supply is lost. Time-phased netting as in operations-management
    textbooks, with lots instead of one sum, because a sum can't tell what expires.
    """
    if days < 1:
        raise ValueError(f"days is {days} d; it must be 1 or more")
    run = _Run(start, days, _Shelf(newest_first))
    wanted = sorted(uses, key=lambda u: (u.day, not u.reserved, u.pour))
    run.stock(supplies, wanted)
    for day in sorted(run.events(wanted)):
        run.one_day(day)
    return run.result(wanted, rescue_days)


class _Run:
    """
    One projection under way; days are counted from the start, quantities in whole `steps`.

    It walks lots one by one, because which lot a pour takes decides what expires. A table of
    days over many materials is made from it elsewhere, with a table library; one material's
    page would wait longer for that library to load than this takes.
    """

    def __init__(self, start: date, days: int, shelf: _Shelf) -> None:
        self.start, self.days, self.shelf = start, days, shelf
        self.receipts, self.reserved, self.planned, self.expired, self.short = (
            [0] * days for _ in range(5)
        )
        self.opening = self.already_expired = 0
        self.due: dict[int, list[Supply]] = {}
        self.ending: dict[int, list[int]] = {}
        self.uses: dict[int, list[tuple[Use, int]]] = {}
        self.losses: list[tuple[Supply, int]] = []
        self.waiting: deque[tuple[Use, int]] = deque()
        self.shorts: dict[Use, int] = {}
        self.made_good: dict[Use, date] = {}

    def _index(self, day: date) -> int:
        return max(0, (day - self.start).days)

    def stock(self, supplies: Iterable[Supply], wanted: Sequence[Use]) -> None:
        """Put on-hand stock on the shelf, set reserved parts aside, and diary the rest."""
        aside = self._reserved_by_lot(wanted)
        for supply in supplies:
            if supply.quantity < 0:
                raise ValueError(f"{supply.code} holds {supply.quantity}; it can't be below 0")
            if supply.due_on is not None:
                self._diary_receipt(supply)
            elif supply.usable_until is not None and supply.usable_until < self.start:
                self.already_expired += steps(supply.quantity)
            else:
                held = steps(supply.quantity)
                self.opening += held
                claims = aside.get(supply.claimed_as or supply.code)
                free = self._set_aside(supply, held, claims) if claims else held
                self._put(supply, free)
        self.shelf.sort()
        for use, need in [pair for pairs in aside.values() for pair in pairs]:
            self._diary_use(use, need)
        for use in wanted:
            if not use.reserved:
                self._diary_use(use, steps(use.quantity))

    def _reserved_by_lot(self, wanted: Sequence[Use]) -> dict[str, list[tuple[Use, int]]]:
        by_lot: dict[str, list[tuple[Use, int]]] = {}
        for use in wanted:
            if use.quantity < 0:
                raise ValueError(f"pour {use.pour} needs {use.quantity}; it must be 0 or more")
            if use.lot is not None and self._index(use.day) < self.days:
                by_lot.setdefault(use.lot, []).append((use, steps(use.quantity)))
        return by_lot

    def _set_aside(self, supply: Supply, held: int, claims: list[tuple[Use, int]]) -> int:
        """Give reserved uses their part of a lot; what they can't use in time stays free."""
        free = held
        for place, (use, need) in enumerate(claims):
            if supply.usable_until is None or use.day <= supply.usable_until:
                part = min(free, need)
                free -= part
                claims[place] = (use, need - part)
        return free

    def _diary_receipt(self, supply: Supply) -> None:
        assert supply.due_on is not None
        day = self._index(supply.due_on)
        if day < self.days:
            self.due.setdefault(day, []).append(supply)

    def _diary_use(self, use: Use, need: int) -> None:
        day = self._index(use.day)
        if day < self.days:
            (self.reserved if use.reserved else self.planned)[day] += steps(use.quantity)
            self.uses.setdefault(day, []).append((use, need))

    def _put(self, supply: Supply, quantity: int) -> None:
        index = self.shelf.add(supply, quantity)
        if supply.usable_until is not None:
            day = self._index(supply.usable_until)
            if day < self.days:
                self.ending.setdefault(day, []).append(index)

    def events(self, wanted: Sequence[Use]) -> set[int]:
        """Return the days on which anything happens."""
        expiries = {
            self._index(s.usable_until)
            for supplies in self.due.values()
            for s in supplies
            if s.usable_until is not None
        }
        found = set(self.due) | set(self.ending) | set(self.uses) | expiries
        return {day for day in found if day < self.days}

    def one_day(self, day: int) -> None:
        """Receive, serve who waits, serve the day's uses, and lose what has run out."""
        today = self.start + timedelta(days=day)
        for supply in self.due.get(day, []):
            if supply.usable_until is None or supply.usable_until >= today:
                came = steps(supply.quantity)
                self.receipts[day] += came
                self._put(supply, came)
        self._serve_waiting(today)
        for use, need in self.uses.get(day, []):
            missing = need - self.shelf.take(need)
            if missing:
                self.short[day] += missing
                self.shorts[use] = self.shorts.get(use, 0) + missing
                self.waiting.append((use, missing))
        for index in self.ending.get(day, []):
            self.expired[day] += self.shelf.left[index]
            if self.shelf.left[index]:
                self.losses.append((self.shelf.supplies[index], self.shelf.left[index]))
            self.shelf.left[index] = 0

    def _serve_waiting(self, today: date) -> None:
        while self.waiting:
            use, missing = self.waiting.popleft()
            missing -= self.shelf.take(missing)
            if missing:
                self.waiting.appendleft((use, missing))
                return
            self.made_good[use] = today

    def result(self, wanted: Sequence[Use], rescue_days: int) -> MaterialOutlook:
        """Collect the columns."""
        projected = []
        level = self.opening
        for day in range(self.days):
            level += self.receipts[day] - self.reserved[day] - self.planned[day]
            level -= self.expired[day]
            projected.append(level / STEPS)
        opening = self.opening / STEPS
        in_date = [max(0.0, left) for left in [opening, *projected[:-1]]]
        return MaterialOutlook(
            start=self.start,
            opening=opening,
            in_date=tuple(in_date),
            receipts=_column(self.receipts),
            reserved=_column(self.reserved),
            planned=_column(self.planned),
            expired=_column(self.expired),
            short=_column(self.short),
            projected=tuple(projected),
            short_pours=self._short_pours(),
            at_risk=self._at_risk(wanted, rescue_days),
            already_expired=self.already_expired / STEPS,
            due_in=sum(self.receipts) / STEPS,
            wanted=(sum(self.reserved) + sum(self.planned)) / STEPS,
            short_of=sum(self.short) / STEPS,
            lost=sum(self.expired) / STEPS,
        )

    def _short_pours(self) -> tuple[ShortPour, ...]:
        left: dict[Use, int] = {}
        for use, missing in self.waiting:
            left[use] = left.get(use, 0) + missing
        return tuple(
            ShortPour(
                use.pour,
                max(use.day, self.start),
                q / STEPS,
                None if use in left else self.made_good.get(use),
                left.get(use, 0) / STEPS,
            )
            for use, q in sorted(self.shorts.items(), key=lambda x: (x[0].day, x[0].pour))
        )

    def _at_risk(self, wanted: Sequence[Use], rescue_days: int) -> tuple[AtRisk, ...]:
        found = []
        days = [use.day for use in wanted]
        for supply, quantity in self.losses:
            assert supply.usable_until is not None
            near = bisect_right(days, supply.usable_until + timedelta(days=rescue_days))
            first = bisect_right(days, supply.usable_until)
            share = wanted[first - 1].pour if first else None
            rescues = _rescues(wanted[first:near], quantity, share)
            found.append(AtRisk(supply.code, supply.usable_until, quantity / STEPS, rescues))
        return tuple(sorted(found, key=lambda x: (x.usable_until, x.code)))


def _rescues(later: Sequence[Use], quantity: int, share: str | None) -> tuple[Rescue, ...]:
    """Find which of the pours soon after an expiry could use the quantity if brought forward."""
    rescues: list[Rescue] = []
    left = quantity
    for use in later:
        if not left:
            break
        part = min(left, steps(use.quantity))
        left -= part
        rescues.append(Rescue(use.pour, use.day, part / STEPS, share))
    return tuple(rescues)


def _column(quantities: list[int]) -> tuple[float, ...]:
    """Turn a column that is mostly zeros back into units."""
    return tuple([q / STEPS if q else 0.0 for q in quantities])
