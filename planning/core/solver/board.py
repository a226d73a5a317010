"""
The board: what is planned so far, as values that are cheap to copy.

A step of the search copies the board, takes pours off and puts them back another way, and keeps
the copy or not. Pots and plans of pours are never changed in place.
"""

from __future__ import annotations

from typing import NamedTuple

from planning.core.plan import portion_min
from planning.core.solver import masks
from planning.core.solver.job import Job
from planning.core.solver.shop import Shop

UNPLACED = 1e9
"""Cost of a pour that is not planned, in pots."""
TOO_LIGHT = 4e8
"""Cost of a pot below its least mass: worth filling, but better than no place at all."""
LATE_MINUTE = 1e3
"""Cost of a weighted late minute where lateness always wins, in pots."""


class Blocked(Exception):
    """A pour that cannot be placed; `rule` names what stopped it."""

    def __init__(self, rule: str, low: int | None = None) -> None:
        super().__init__(rule)
        self.rule = rule
        self.low = low


class Share(NamedTuple):
    """A portion of a pot: `job` and `lift` by index."""

    job: int
    lift: int
    kg: float
    start: int
    end: int


class Pot(NamedTuple):
    """One mix. Only the last portion of a lift shares a pot."""

    id: int
    system: int
    mixer: int
    people: tuple[int, ...]
    start: int
    contact: int
    pour: int
    shares: tuple[Share, ...]
    pour_end: int
    end: int
    kg: float
    open: bool
    """May be shared."""
    light: bool
    fill: int
    """Thousand times the square of how full it is; uneven pots are nearer to one pot less."""


class Work(NamedTuple):
    """A task of a pour: kind, index of step or lift, times, people, oven load."""

    kind: str
    number: int
    start: int
    end: int
    people: tuple[int, ...]
    oven: int
    oven_start: int
    fixed: bool


class Placed(NamedTuple):
    """How one pour is planned; `pots` per lift in order of pouring."""

    works: tuple[Work, ...]
    pots: tuple[tuple[int, ...], ...]
    slot: int
    stand_start: int
    stand_end: int
    finish: int
    late: int
    moved: float
    """Lifts poured at another time than in the previous plan; a step counts less than one."""


class Load(NamedTuple):
    """What is in an oven."""

    start: int
    end: int
    cycle: str
    tools: int
    fixed: bool


class Board:
    """A partial plan."""

    __slots__ = (
        "fill", "free", "held", "late", "light", "moved", "next_id", "ovens", "placed", "pots",
        "time",
    )  # fmt: skip

    def __init__(self, shop: Shop) -> None:
        self.free: list[int] = list(shop.free)
        self.pots: list[dict[int, Pot]] = [{} for _ in shop.systems]
        self.placed: dict[int, Placed] = {}
        self.ovens: list[tuple[Load, ...]] = [() for _ in shop.ovens]
        self.held: dict[int, int] = {}
        """Until when the slot of a frozen stand is kept while its pour is not on the board."""
        self.late = 0
        self.moved = 0.0
        self.light = 0
        self.next_id = 0
        self.time = 0.0
        self.fill = 0

    def copy(self) -> Board:
        """Return a board that can be changed without changing this one."""
        twin = Board.__new__(Board)
        twin.free = list(self.free)
        twin.pots = [dict(p) for p in self.pots]
        twin.placed = dict(self.placed)
        twin.ovens = list(self.ovens)
        twin.held = dict(self.held)
        twin.late, twin.moved, twin.light = self.late, self.moved, self.light
        twin.next_id = self.next_id
        twin.time, twin.fill = self.time, self.fill
        return twin

    @property
    def pot_count(self) -> int:
        return sum(len(p) for p in self.pots)

    def reserve(self, units: tuple[int, ...], start: int, end: int) -> None:
        """Take minutes of some units."""
        taken = masks.span(start, end)
        for unit in units:
            self.free[unit] &= ~taken

    def release(self, units: tuple[int, ...], start: int, end: int) -> None:
        """Give minutes of some units back."""
        given = masks.span(start, end)
        for unit in units:
            self.free[unit] |= given

    def keep_slot(self, index: int, unit: int, stand: tuple[int, int], most: int) -> None:
        """Keep the slot of a frozen stand, and on to `most` or as long as nobody else has it."""
        start, end = stand
        busy = ~self.free[unit] & masks.span(end, most)
        self.held[index] = masks.first(busy, end) if busy else max(end, most)
        self.reserve((unit,), start, self.held[index])

    def take_stand(self, index: int, unit: int, start: int, end: int, begun_to: int) -> None:
        """
        Take a slot for the stand of a pour; what was kept of it beyond is given back.

        Not before `begun_to`, the end of its frozen stand: until then others may be there too, or
        the place be closed.
        """
        kept_from = max(end, begun_to)
        self.release((unit,), kept_from, max(kept_from, self.held.get(index, 0)))
        self.reserve((unit,), start, end)

    def put_pot(self, pot: Pot) -> None:
        """Add a pot and take its people and mixer."""
        self.pots[pot.system][pot.id] = pot
        self.reserve(pot.people, pot.start, pot.end)
        self.reserve((pot.mixer,), pot.contact, pot.end)
        self.light += pot.light
        self.fill += pot.fill

    def drop_pot(self, pot: Pot) -> None:
        """Take a pot away and free its people and mixer."""
        del self.pots[pot.system][pot.id]
        self.release(pot.people, pot.start, pot.end)
        self.release((pot.mixer,), pot.contact, pot.end)
        self.light -= pot.light
        self.fill -= pot.fill


def lift_span(board: Board, job: Job, lift: int, placed: Placed) -> tuple[int, int]:
    """Return the first start and last end of pouring a lift, frozen portions included."""
    fixed = job.lifts[lift].fixed
    begin = [p.start_min for _, p in fixed]
    finish = [p.end_min for _, p in fixed]
    pots = board.pots[job.chemistry.index]
    for id in placed.pots[lift]:
        for share in pots[id].shares:
            if share.job == job.index:
                begin.append(share.start)
                finish.append(share.end)
    return min(begin), max(finish)


def lateness(job: Job, finish: int) -> int:
    """Return weight x minutes after due of one pour."""
    return job.pour.weight * max(0, finish - job.pour.due_min)


def pour_minutes(job: Job, kg: float) -> int:
    """Return the minutes one portion takes."""
    return portion_min(kg, job.chemistry.system.pour_rate_kg_min)
