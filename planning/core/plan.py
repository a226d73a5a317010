"""
A week plan: plain values with a documented JSON form, and the rules it keeps.

What the words in the rules mean
--------------------------------
The *work* of a pour is its tasks and the batches with a portion for it; a batch's work begins at
its `start_min` (weighing). A lift is *poured* from the first start to the last end of its
portions. A pour is *done* at the end of its last step's wait or, without steps after it, of its
cure. Pot life and gel limit are those in force at first contact; gaps, attendance and cure those
in force at the end of pouring the lift. Lifts are numbered from 0, from the bottom up.
Kilograms and millimetres agree when within 1e-6; minutes are exact. Work that is frozen is taken
as a fact: a breach in which nothing but frozen work takes part is not reported.

Rules (the code is what `planning.core.check` reports)
------------------------------------------------------
``pour_missing``     every pour is planned or unplaced with a reason; none is both or neither. An
                     unplaced pour has no work, lift or stand but frozen ones.
``lift_depth``       no lift deeper than its system or pour allows; lifts cover the layers in turn.
                     None thinner than `least_lift_mm` unless the pour is one lift.
``lift_mass``        the portions of a lift add up to its mass, and its layers to its mass.
``batch_mass``       mixed mass = portions + fixed residue + share x portions; within vessel, mixer
                     and least batch mass (of mixer and system). No batch is empty.
``batch_clock``      weigh, mix, pour, move and clean last as long as the system says, in order,
                     with no pause: contact = start + weigh, pour_start = contact + mix, first
                     portion from pour_start; a portion lasts max(1, ceil(kg / pour rate)) min;
                     the next starts `move_min` after its end; pour_end = last portion's end;
                     end = pour_end + clean.
``pot_life``         pouring ends within the plannable pot life of first contact:
                     pour_end - contact <= pot_life_factor x pot_life_min.
``wet_on_wet``       within a lift, each further batch is poured in full before the batch below it
                     reaches the gel limit: portions in order of start do not overlap, and each
                     ends no later than contact of the batch below + its gel limit.
``lift_gap``         the next lift starts after the least gap; past the greatest gap only after an
                     abrade task in between. The abrade task names the upper lift, takes one
                     person, lasts `abrade_min`, starts once the least gap has run and ends before
                     first contact of every pot of the upper lift, where weigh-in asks whether it
                     is signed; with `overdue_lift` 'forbid' it does not help.
                     Where a pour has `openings`, those of the lower lift (same number and depth)
                     in force at the end of pouring it count instead of the system's gaps; of a
                     lift that none is of, the longest least gap and the shortest greatest gap of
                     all in force. Where a pour has a `window`, its lift keeps that instead.
``step_order``       steps in order, waits kept, longest waits kept; then the first lift. Each step
                     is one task lasting `hands_min`; the wait and the longest wait count from its
                     end to the start of the next step's task, after the last step before a pour to
                     the start of pouring its first lift (`coat_to_pour_most_min` counts alike).
                     The hands of the steps before a pour end before first contact of each of its
                     pots, where weigh-in asks whether they are signed.
``stands_on``        a pour's first work starts after the last step of the pour it stands on: not
                     before that one is done.
``cure``             the first step after the pour starts once the cure time has run, the longer
                     of system's and pour's, from the end of pouring the last lift.
``shift``            every task and batch lies inside one shift window of each of its people.
``skill``            each person has the skill asked; as many people as asked. Of `count` alike
                     people several may be named by repeating the id. Nobody is needed for a step
                     without hands-on time; abrading asks for no skill.
``person_busy``      nobody does two things at once (within `count`), batches from start to end.
``mixer_busy``       no mixer holds two batches at once, works while closed or for a wrong system;
                     a batch holds it from first contact to its end.
``place``            a pour stands in one place of its kind from its first place-holding work to
                     the end of its last step; capacity and closures kept; `same_place` kept. One
                     stand a pour, from the start of its first step that holds the place, or of
                     pouring, until it is done, or longer. With `same_place` both stands name one
                     place and the lower one lasts at least until the upper one begins. A stand
                     that is frozen is a fact until its frozen end, closed place or not.
``oven``             oven waits lie in an oven, one load shares one cycle and one start: the wait
                     of an oven step runs from its `oven_start_min` (not before its task's end; the
                     task's end when not given), and so does its `wait_min` to the next step or to
                     being done, while the longest wait still counts from the task's end; waits
                     that overlap in one oven have one cycle and begin at the same minute; the
                     oven's capacity and closures are kept.
``attended``         somebody is in the shop from the end of pouring a lift until its peak: those
                     minutes lie in `staffed`, or when that is empty in the union of all shifts.
``earliest``         nothing of a pour starts before its earliest minute, weighing included.
``last_pour``        no pour starts after the day's last pour time: every portion's start, counted
                     from the last day start, is at most `last_pour_clock_min`.
``sharing``          sharing only where allowed, at most so many tools to a pot; all its pours are
                     of its system, and each has one portion in it.
``lot_mass``         no container gives more than it holds; each batch has the full mass of
                     each component at the system's ratio, of mixed mass. Judged if `check_lots`.
``lot_date``         nothing is used before it is there nor after expiry or open life at the end of
                     pouring. It is there for weighing (`start_min`); a container still sealed is
                     opened at the first `start_min` that uses it. Judged if `check_lots`. A frozen
                     batch without lots has had its material issued; it is not judged by either.
``horizon``          everything planned starts inside the horizon: 0 <= start < horizon_min.
``frozen``           frozen work is in the plan, unchanged; so is work of the previous plan that
                     starts before `freeze_until_min`, for pours still asked for, with the lifts it
                     serves. A stand keeps pour, place and start; its end follows the work.
``figures``          the plan's own figures are what its content says: pots = batches, residue =
                     mixed less poured, finish = the last pour done (0 if none), lateness that of
                     planned pours; no bound above its figure. Batch ids differ.

An id that is not in the problem breaks the rule it bears on: a pour `pour_missing`, a step
`step_order`, a lift `lift_mass`, a person `shift`, a mixer `mixer_busy`, a place `place` or
`oven`, a lot or container `lot_mass`, a system `sharing`.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
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
    role: str
    """'resin', 'hardener' or the name of a further component."""
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
    """A pour without a place, or late: the rule that binds, in words, and what would help."""

    pour: str
    rule: str
    """A code of the rules above, or 'several' where no single change was found to help."""
    words: str
    """With the names that people use, never ids, wherever the problem gives names."""
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


MoveCause = Literal["unplaced", "came_off", "follows", "people", "shares", "better"]
"""
Why work moves: its pour is out of the plan; it no longer holds where it was; earlier work on its
pour moved; its people are with other pours; it shares a pot; the whole week is better for it.
"""


@dataclass(frozen=True)
class Move:
    """A portion or task of the previous plan that had to move, and why, in words and as data."""

    what: str
    """The work as people call it: the pour's name with its lift or step."""
    from_min: int | None
    to_min: int | None
    reason: str
    pour: str = ""
    step: str = ""
    """Id of the step; 'abrade' for abrading before a lift, empty for casting one."""
    lift: int | None = None
    """The lift cast, or abraded before; from 0."""
    cause: MoveCause = "better"
    others: tuple[str, ...] = ()
    """Pours that take its time or share its pot, where the cause names some."""


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
    late: tuple[Unplaced, ...] = ()
    """Why planned pours are late and what would help; looked for once the plan is there."""


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
    over_until_min: int = 0
    """What lies before this is over: no change that is tried opens such hours again."""
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
            _differ(name, [item.id for item in getattr(self, name)])
        for lot in self.lots:
            _differ(f"containers of lot {lot.id}", [can.id for can in lot.containers])
        self._check_pours()
        self._check_frozen()

    def _check_pours(self) -> None:
        """Refuse pours with links to nowhere, to themselves, or to a place of another kind."""
        systems = {s.id for s in self.systems}
        pours = {p.id: p for p in self.pours}
        heirs: dict[str, str] = {}
        for pour in self.pours:
            if pour.system not in systems:
                raise ValueError(f"pour {pour.id} asks for system {pour.system!r}, not listed")
            if pour.stands_on is None:
                continue
            below = pours.get(pour.stands_on)
            if below is None:
                raise ValueError(f"pour {pour.id} stands on {pour.stands_on!r}, not listed")
            if not pour.same_place:
                continue
            if pour.place_kind != below.place_kind:
                raise ValueError(
                    f"pour {pour.id} stays in the place of pour {below.id}, but asks for a "
                    f"{pour.place_kind!r} and pour {below.id} for a {below.place_kind!r}"
                )
            if below.id in heirs:
                raise ValueError(
                    f"pours {heirs[below.id]} and {pour.id} both stay in the place of pour "
                    f"{below.id}; only one can"
                )
            heirs[below.id] = pour.id
        for pour in self.pours:
            chain = [pour.id]
            while (low := pours[chain[-1]].stands_on) is not None:
                if low in chain:
                    ring = ", ".join(chain[chain.index(low) :])
                    raise ValueError(
                        f"stands_on makes a ring of pours {ring}; one must stand alone"
                    )
                chain.append(low)

    def _check_frozen(self) -> None:
        """Refuse frozen work that says two things of one thing."""
        frozen = self.frozen
        _differ("frozen.batches", [b.id for b in frozen.batches])
        _differ("frozen.stands", [s.pour for s in frozen.stands])
        _differ("frozen.lifts", [f"{x.pour}, lift {x.lift}" for x in frozen.lifts])
        tasks = [(t.pour, t.kind, t.step, t.lift) for t in frozen.tasks]
        _differ("frozen.tasks", [", ".join(str(x) for x in key if x is not None) for key in tasks])


def _differ(name: str, ids: Sequence[str]) -> None:
    """Refuse an id that stands twice in a list."""
    for one, times in Counter(ids).items():
        if times > 1:
            raise ValueError(f"{name} has the id {one!r} twice; ids must differ")
