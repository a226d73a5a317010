"""
What a week plan is made from: plain values with a documented JSON form.

Times are whole minutes of elapsed time since `Problem.origin` (so a night with a clock change
is an hour longer or shorter). Windows are half open, ``(start, end)``. Masses are kilograms,
depths millimetres. The rules a plan must keep are listed in `planning.core.plan`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Window = tuple[int, int]
"""Start and end in minutes since the origin; the end is not included."""


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not value > 0:
            raise ValueError(f"{name} is {value}; it must be above 0")


def _not_negative(**values: float) -> None:
    for name, value in values.items():
        if value < 0:
            raise ValueError(f"{name} is {value}; it must be 0 or more")


def _windows(name: str, windows: tuple[Window, ...]) -> None:
    for start, end in windows:
        if end <= start:
            raise ValueError(f"{name} has a window from {start} to {end} min; it must end later")


@dataclass(frozen=True)
class Person:
    """Somebody, or `count` alike people, at work in `shifts`; a break is a gap between two."""

    id: str
    shifts: tuple[Window, ...]
    skills: tuple[str, ...] = ()
    count: int = 1
    name: str = ""

    def __post_init__(self) -> None:
        _positive(count=self.count)
        _windows("shifts", self.shifts)


@dataclass(frozen=True)
class Mixer:
    """A mixer with its vessel; busy from first contact until cleaned."""

    id: str
    largest_kg: float
    least_kg: float = 0.0
    count: int = 1
    systems: tuple[str, ...] = ()
    """Systems it may be used for; empty means all."""
    closed: tuple[Window, ...] = ()
    name: str = ""

    def __post_init__(self) -> None:
        _positive(largest_kg=self.largest_kg, count=self.count)
        _not_negative(least_kg=self.least_kg)
        _windows("closed", self.closed)


@dataclass(frozen=True)
class Place:
    """A bench, oven or floor space; `capacity` pours (or an oven's load) at a time."""

    id: str
    kind: str
    capacity: int = 1
    closed: tuple[Window, ...] = ()
    name: str = ""

    def __post_init__(self) -> None:
        _positive(capacity=self.capacity)
        _windows("closed", self.closed)


@dataclass(frozen=True)
class Condition:
    """
    The clocks of a system from `from_min` on, at the shop temperature expected then.

    `pot_life_min` runs from first contact of resin and hardener to the end of pouring; a second
    container does not reset it. `gel_limit_min` runs from first contact too: the next batch of the
    same lift must be poured in full before the one below it has run this long (wet on wet).
    `gap_least_min` and `gap_greatest_min` run from the end of pouring one lift to the start of
    pouring the next. `attend_min` runs from the end of pouring a lift until its peak temperature
    has passed. `cure_min` runs from the end of pouring the last lift to demould.
    """

    from_min: int
    pot_life_min: int
    gel_limit_min: int
    gap_least_min: int
    gap_greatest_min: int
    attend_min: int
    cure_min: int
    shop_c: float | None = None

    def __post_init__(self) -> None:
        _positive(
            pot_life_min=self.pot_life_min,
            gel_limit_min=self.gel_limit_min,
            cure_min=self.cure_min,
        )
        _not_negative(gap_least_min=self.gap_least_min, attend_min=self.attend_min)


@dataclass(frozen=True)
class Component:
    """What a mix has beside resin and hardener: `per_100` parts by mass to 100 of resin."""

    name: str
    material: str
    per_100: float
    material_name: str = ""

    def __post_init__(self) -> None:
        _positive(per_100=self.per_100)


@dataclass(frozen=True)
class System:
    """A resin system as the planner sees it."""

    id: str
    resin: str
    hardener: str
    hardener_per_100: float
    """Parts of hardener by mass to 100 of resin."""
    conditions: tuple[Condition, ...]
    """Ordered by `from_min`; the last one that has begun holds."""
    deepest_lift_mm: float
    """The stricter of the data sheet and the computed limit over the planned days."""
    weigh_min: int
    mix_min: int
    clean_min: int
    pour_rate_kg_min: float
    move_min: int = 0
    """Between two tools poured from one pot."""
    vessel_kg: float = 1e9
    least_batch_kg: float = 0.0
    most_tools_per_batch: int = 99
    residue_fixed_kg: float = 0.0
    """Left in the pot whatever its size."""
    residue_share: float = 0.0
    """Left in the pot as a share of what is poured."""
    abrade_min: int = 0
    """Hands-on time to abrade and clean a lift whose recoat window has closed."""
    hands: int = 1
    """People needed from weighing to cleaning."""
    skill: str = ""
    name: str = ""
    resin_name: str = ""
    hardener_name: str = ""
    further: tuple[Component, ...] = ()
    """Components beside resin and hardener, in order of weighing."""

    def __post_init__(self) -> None:
        _positive(
            hardener_per_100=self.hardener_per_100,
            deepest_lift_mm=self.deepest_lift_mm,
            pour_rate_kg_min=self.pour_rate_kg_min,
            vessel_kg=self.vessel_kg,
            hands=self.hands,
            most_tools_per_batch=self.most_tools_per_batch,
        )
        _not_negative(
            weigh_min=self.weigh_min,
            mix_min=self.mix_min,
            clean_min=self.clean_min,
            move_min=self.move_min,
            least_batch_kg=self.least_batch_kg,
            residue_fixed_kg=self.residue_fixed_kg,
            residue_share=self.residue_share,
            abrade_min=self.abrade_min,
        )
        if not self.conditions:
            raise ValueError(f"conditions of system {self.id} is empty; give at least one")
        starts = [c.from_min for c in self.conditions]
        if starts != sorted(set(starts)):
            raise ValueError(f"conditions of system {self.id} must be ordered by from_min")

    def at(self, minute: int) -> Condition:
        """Return the condition in force at a minute (the first one before it has begun)."""
        current = self.conditions[0]
        for condition in self.conditions:
            if condition.from_min <= minute:
                current = condition
        return current


@dataclass(frozen=True)
class Container:
    """One can or drum of a lot. `usable_until_min` is the earlier of expiry and open life."""

    id: str
    kg: float
    usable_until_min: int
    opened: bool = False
    open_life_min: int | None = None
    """Once first opened in this plan it is usable this long, never past `usable_until_min`."""
    available_from_min: int = 0
    """When an expected receipt is in and released, or a cold container has warmed."""

    def __post_init__(self) -> None:
        _not_negative(kg=self.kg)


@dataclass(frozen=True)
class Lot:
    """A maker's lot of one material that may be used; held and quarantined lots are left out."""

    id: str
    material: str
    containers: tuple[Container, ...]
    code: str = ""


@dataclass(frozen=True)
class Step:
    """Work on a tool: hands for `hands_min`, then `wait_min` in which nobody is needed."""

    id: str
    name: str
    hands_min: int
    wait_min: int = 0
    skill: str = ""
    hands: int = 1
    longest_wait_min: int | None = None
    """The next step must start within this long of the end of the hands (recoat window)."""
    holds_place: bool = True
    """The tool stands in its place from the start of this step on."""
    oven_cycle: str = ""
    """Non-empty: the wait is spent in a place of kind 'oven'; one load shares one cycle."""

    def __post_init__(self) -> None:
        _not_negative(hands_min=self.hands_min, wait_min=self.wait_min)
        _positive(hands=self.hands)
        if self.longest_wait_min is not None and self.longest_wait_min < self.wait_min:
            raise ValueError(
                f"longest_wait_min of step {self.id} is {self.longest_wait_min} min, "
                f"shorter than its wait of {self.wait_min} min"
            )


@dataclass(frozen=True)
class Layer:
    """A slice of a pour, from the bottom up; a lift ends only where a layer ends."""

    depth_mm: float
    mass_kg: float

    def __post_init__(self) -> None:
        _positive(depth_mm=self.depth_mm, mass_kg=self.mass_kg)


@dataclass(frozen=True)
class LiftWindow:
    """When a lift may follow the one below it that is poured, by the clock that runs there."""

    lift: int
    opens_min: int
    closes_min: int
    """A lift poured later is abraded for first; one before `opens_min` says that all are."""


@dataclass(frozen=True)
class Opening:
    """When a lift may be followed by the next, as its own clock will tell; from `from_min` on."""

    lift: int
    """The lower one."""
    depth_mm: float
    from_min: int
    """It holds for a lift poured by then or later."""
    least_min: int
    """From the end of pouring it to the start of pouring the next."""
    greatest_min: int
    """Below `least_min` where every next lift is abraded for."""

    def __post_init__(self) -> None:
        _positive(depth_mm=self.depth_mm)
        _not_negative(lift=self.lift, least_min=self.least_min)


@dataclass(frozen=True)
class Pour:
    """Casting one half of a tool, with the steps before the first lift and after the cure."""

    id: str
    system: str
    layers: tuple[Layer, ...]
    place_kind: str
    due_min: int
    before: tuple[Step, ...] = ()
    after: tuple[Step, ...] = ()
    stands_on: str | None = None
    """The pour whose last step must be done before this one's first step starts."""
    same_place: bool = False
    """It stays where the pour it stands on was cast, which keeps the place until then."""
    earliest_min: int = 0
    weight: int = 1
    may_share: bool = True
    deepest_lift_mm: float | None = None
    cure_min: int | None = None
    """Overrides the system's, when longer."""
    window: LiftWindow | None = None
    """Overrides the gaps below one lift, be it longer or shorter."""
    openings: tuple[Opening, ...] = ()
    """Override the gaps of the system; of a lift that none is of, the strictest of all count."""
    tool: str = ""
    name: str = ""

    def __post_init__(self) -> None:
        if not self.layers:
            raise ValueError(f"layers of pour {self.id} is empty; give at least one")
        _positive(weight=self.weight)
        if self.same_place and self.stands_on is None:
            raise ValueError(f"same_place of pour {self.id} needs stands_on")
        for name in ("before", "after"):
            ids = [step.id for step in getattr(self, name)]
            for one in ids:
                if ids.count(one) > 1:
                    raise ValueError(
                        f"{name} of pour {self.id} has the step {one!r} twice; ids must differ"
                    )

    @property
    def mass_kg(self) -> float:
        """Casting mass, without losses."""
        return sum(layer.mass_kg for layer in self.layers)


@dataclass(frozen=True)
class Settings:
    """What a foreman may decide. Each has a default and a sentence of help in its docstring."""

    pot_life_factor: float = 0.9
    """Share of the pot life that may be planned; the rest is margin."""
    allow_sharing: bool = True
    """One pot may serve several tools of one system."""
    most_tools_per_batch: int = 4
    """Most tools poured from one pot, whatever a system says."""
    equal_batches: bool = False
    """Split a lift larger than a pot into equal batches instead of full ones and a remainder."""
    extra_lifts: int = 0
    """More lifts than the fewest, for a cooler casting."""
    least_lift_mm: float = 10.0
    """No lift thinner than this unless the pour itself is."""
    overdue_lift: Literal["abrade", "forbid"] = "abrade"
    """A lift past its recoat window: abrade and clean before the next, or never plan it."""
    last_pour_clock_min: int | None = None
    """No pour starts later than this minute of the day."""
    coat_to_pour_most_min: int | None = None
    """Longest wait between the last step before a pour and the pour."""
    lot_rule: Literal["one_pair", "first_expired"] = "one_pair"
    """Which wins when they differ: one lot pair per casting, or first expired first out."""
    late_minutes_per_pot: float | None = None
    """Exchange rate: weighted late minutes worth one pot; none means lateness always wins."""
    freeze_until_min: int = 0
    """Work of the previous plan that starts before this stays exactly where it is."""
    move_price: float = 0.2
    """In pots: what moving one portion of the previous plan costs; a step, a quarter of it."""
    late_minutes_per_move: float = 120.0
    """Weighted late minutes a portion of the previous plan is moved for, and no fewer."""

    def __post_init__(self) -> None:
        if not 0 < self.pot_life_factor <= 1:
            raise ValueError(
                f"pot_life_factor is {self.pot_life_factor}; it must be above 0, at most 1"
            )
        _positive(most_tools_per_batch=self.most_tools_per_batch)
        _not_negative(extra_lifts=self.extra_lifts, least_lift_mm=self.least_lift_mm)
        _not_negative(move_price=self.move_price, late_minutes_per_move=self.late_minutes_per_move)


@dataclass(frozen=True)
class Limits:
    """How long to search. Results depend on `work`, never on the clock, unless it is cut."""

    seconds: float = 10.0
    """Wall-clock cut; a plan is returned whatever is left to do."""
    seed: int = 1
    workers: int = 2
    """Processor threads; the plan does not depend on it."""
    work: int | None = None
    """Steps of search; none takes as many as usually fit into `seconds`."""

    def __post_init__(self) -> None:
        _positive(seconds=self.seconds, workers=self.workers)
        if self.work is not None:
            _not_negative(work=self.work)
