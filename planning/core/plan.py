"""
A week plan: plain values with a documented JSON form, and the rules it keeps.

Rules (the code is what `planning.core.check` reports)
------------------------------------------------------
``pour_missing``     every pour is planned or unplaced with a reason; none is both or neither.
``lift_depth``       no lift deeper than its system or pour allows (a single layer that is deeper
                     cannot be cast); lifts cover the layers in turn, from 0, and their depth and
                     mass are the sums of their layers.
``lift_mass``        the portions of a lift add up to its mass.
``batch_mass``       mixed mass = portions + fixed residue + share x portions; within vessel, mixer
                     and least batch mass (of system and mixer).
``batch_clock``      contact = start + weigh; pouring starts mix minutes later; a portion takes its
                     mass over the pour rate, rounded up to a minute (`portion_min`); the move time
                     lies between two portions; the batch ends clean minutes after the last.
``pot_life``         end of pouring - contact <= plannable pot life (`plannable_min`) of the
                     condition in force at contact.
``wet_on_wet``       the portions of a lift follow each other; each further one ends no later than
                     the contact of the batch below it + the gel limit in force at that contact.
``lift_gap``         the next lift starts after the least gap in force when the lift below was
                     poured in full; past the greatest gap only after an abrade task (one person
                     with the system's skill, `abrade_min` long) that lies between the two lifts;
                     never past it where `overdue_lift` is 'forbid'.
``step_order``       steps in order; each next one starts `wait_min` or more and no more than
                     `longest_wait_min` after the end of the hands of the one before (an oven wait
                     counts from `oven_start_min`, the longest wait always from the end of the
                     hands). What follows the last step before is the first portion of the first
                     lift, also bound by `coat_to_pour_most_min`.
``stands_on``        a pour's first work starts after the last step (with its wait) of the pour it
                     stands on has ended; that pour is planned.
``cure``             the first step after the pour starts once the cure time has run: the longer of
                     the pour's own and the system's in force at the end of pouring.
``shift``            every task and batch lies inside one shift window of each of its people.
``skill``            each person has the skill asked; as many people as asked. An id may stand
                     twice in `people` when its `count` allows.
``person_busy``      nobody does two things at once (within `count`).
``mixer_busy``       no mixer holds two batches at once from contact to end, works while closed or
                     for a wrong system.
``place``            a pour stands in one place of its kind from its first work that holds a place
                     (the first such step, else the first portion) to its finish: the end of its
                     last step with its wait, or of its cure when no step follows. Capacity and
                     closures kept. With `same_place` it stands where the pour below stood, whose
                     stand then ends exactly where this one starts.
``oven``             oven waits lie in a place of kind 'oven' from `oven_start_min` (no earlier than
                     the end of the hands) for `wait_min`; loads that overlap in one oven share
                     cycle and start and are no more than its capacity; closures kept.
``attended``         from the end of pouring a lift (its last portion) for `attend_min` somebody is
                     in the shop (`Problem.staffed`, else the union of all shifts).
``earliest``         no task or batch of a pour starts before its earliest minute.
``last_pour``        no portion starts after `last_pour_clock_min` minutes of its day.
``sharing``          one pot for several pours only where settings and each of its pours allow it,
                     at most so many to a pot (the lesser of system and settings).
``lot_mass``         no container gives more than it holds; each batch has its full resin and
                     hardener masses at the system's ratio, from lots of the right materials.
``lot_date``         nothing is weighed (batch start) before it is there, nor still being poured
                     (end of pouring) after expiry or open life. A container not yet open is opened
                     by the first batch that takes from it, at that batch's start.
``horizon``          every task, batch and oven load starts at 0 or later and before the horizon.
``frozen``           frozen lifts, batches and tasks are in the plan unchanged; a frozen stand fixes
                     place and start.
``figures``          the plan's own figures are what its content says.

Frozen work is held to `frozen` and keeps its people, mixers and places busy, but is not held to the
rules a person could no longer mend: `horizon`, `earliest`, `shift`, `skill`, `last_pour`,
`attended`, `pot_life`, `batch_clock`, `batch_mass`, `sharing`, `lot_date`, nor to order or gaps
between two pieces of frozen work. A frozen batch without lots has had its material issued already;
one with lots takes from the containers named here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from planning.core.problem import (
    Limits,
    Lot,
    Mixer,
    Person,
    Place,
    Pour,
    Settings,
    System,
    Window,
)


def portion_min(kg: float, pour_rate_kg_min: float) -> int:
    """Return the whole minutes it takes to pour `kg`, at least one."""
    return max(1, math.ceil(kg / pour_rate_kg_min - 1e-6))


def plannable_min(pot_life_min: int, pot_life_factor: float) -> int:
    """Return the whole minutes of pot life that may be planned."""
    return math.floor(pot_life_min * pot_life_factor + 1e-6)


@dataclass(frozen=True)
class LotUse:
    """Material taken from one container for one batch."""

    lot: str
    container: str
    role: Literal["resin", "hardener"]
    kg: float


@dataclass(frozen=True)
class Portion:
    """The part of a batch that goes into one lift of one pour."""

    pour: str
    lift: int
    kg: float
    start_min: int
    end_min: int


@dataclass(frozen=True)
class Batch:
    """One mix in one pot. `contact_min` is first contact: weighing done, mixing begins."""

    id: str
    system: str
    mixer: str
    people: tuple[str, ...]
    start_min: int
    contact_min: int
    pour_start_min: int
    pour_end_min: int
    end_min: int
    mixed_kg: float
    portions: tuple[Portion, ...]
    lots: tuple[LotUse, ...] = ()


@dataclass(frozen=True)
class Lift:
    """Layers ``[first_layer, last_layer)`` of a pour, cast as one."""

    pour: str
    lift: int
    first_layer: int
    last_layer: int
    depth_mm: float
    mass_kg: float


@dataclass(frozen=True)
class Task:
    """
    Hands-on work other than a batch.

    `kind` is 'before', 'after' (a step of the pour, named by `step`) or 'abrade' (before `lift`).
    `oven` names the oven in which the wait after the task is spent, for an oven step;
    `oven_start_min` is when that load starts (the end of the hands when it is not given).
    """

    pour: str
    kind: Literal["before", "after", "abrade"]
    step: str
    people: tuple[str, ...]
    start_min: int
    end_min: int
    lift: int | None = None
    oven: str = ""
    oven_start_min: int | None = None


@dataclass(frozen=True)
class Stand:
    """Where a pour stands, from its first place-holding work to the end of its last step."""

    pour: str
    place: str
    start_min: int
    end_min: int


@dataclass(frozen=True)
class Unplaced:
    """A pour that could not be planned: the rule that binds, in words, and what would help."""

    pour: str
    rule: str
    words: str
    change: str = ""
    """The smallest change found that lets it through, in words; empty when none was tried."""


@dataclass(frozen=True)
class Figures:
    """What a plan achieves and how far from the best it can be at most."""

    unplaced: int
    lateness: int
    """Sum over planned pours of weight x minutes finished (see ``place``) after due."""
    pots: int
    """Batches in the plan, frozen ones included."""
    residue_kg: float
    """Mixed less poured, over all batches."""
    finish_min: int
    """When the last planned pour is finished; 0 for an empty plan."""
    lateness_bound: int = 0
    """No plan can have less lateness than this (with as many pours placed)."""
    pots_bound: int = 0
    """No plan with these lifts, each cast from as few pots as hold it, mixes fewer."""


@dataclass(frozen=True)
class Move:
    """A portion or task of the previous plan that had to move, and why."""

    what: str
    from_min: int | None
    to_min: int | None
    reason: str


@dataclass(frozen=True)
class Plan:
    """The answer to a `Problem`."""

    lifts: tuple[Lift, ...] = ()
    batches: tuple[Batch, ...] = ()
    tasks: tuple[Task, ...] = ()
    stands: tuple[Stand, ...] = ()
    unplaced: tuple[Unplaced, ...] = ()
    figures: Figures = field(default_factory=lambda: Figures(0, 0, 0, 0.0, 0))
    moves: tuple[Move, ...] = ()
    notes: tuple[str, ...] = ()
    version: int = 1


@dataclass(frozen=True)
class Frozen:
    """Work that has started, is printed or is pinned: it stays exactly as written here."""

    lifts: tuple[Lift, ...] = ()
    batches: tuple[Batch, ...] = ()
    tasks: tuple[Task, ...] = ()
    stands: tuple[Stand, ...] = ()


@dataclass(frozen=True)
class Problem:
    """One site's week: what is to be poured and what there is to pour it with."""

    origin: str
    """RFC 3339 instant of minute 0; local midnight at the start of the first day."""
    horizon_min: int
    people: tuple[Person, ...]
    mixers: tuple[Mixer, ...]
    places: tuple[Place, ...]
    systems: tuple[System, ...]
    pours: tuple[Pour, ...]
    lots: tuple[Lot, ...] = ()
    check_lots: bool = True
    """False: plan as if material were there (for looking ahead); lots are then left out."""
    staffed: tuple[Window, ...] = ()
    """When somebody is in the shop, breaks included; empty: the union of all shifts."""
    day_starts: tuple[int, ...] = ()
    """Minute of each local midnight in the horizon; empty: every 1440 minutes."""
    frozen: Frozen = field(default_factory=Frozen)
    previous: Plan | None = None
    settings: Settings = field(default_factory=Settings)
    limits: Limits = field(default_factory=Limits)
    version: int = 1

    def __post_init__(self) -> None:
        if self.version != 1:
            raise ValueError(f"version is {self.version}; this reads version 1")
        if self.horizon_min <= 0:
            raise ValueError(f"horizon_min is {self.horizon_min}; it must be above 0 min")
        for name in ("people", "mixers", "places", "systems", "pours", "lots"):
            ids = [item.id for item in getattr(self, name)]
            for one in ids:
                if ids.count(one) > 1:
                    raise ValueError(f"{name} has the id {one!r} twice; ids must differ")
        systems = {s.id for s in self.systems}
        pours = {p.id for p in self.pours}
        for pour in self.pours:
            if pour.system not in systems:
                raise ValueError(f"pour {pour.id} asks for system {pour.system!r}, not listed")
            if pour.stands_on is not None and pour.stands_on not in pours:
                raise ValueError(f"pour {pour.id} stands on {pour.stands_on!r}, not listed")
