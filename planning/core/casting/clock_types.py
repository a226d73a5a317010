"""What the clocks of one poured lift are asked with, and what they answer; hours from pouring."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from planning.core.casting import require
from planning.core.casting.faces import TOOL_SIDES, Face
from planning.core.casting.system import SystemData

AIR, OVEN, SURFACE, CORE = "air", "oven", "surface", "core"
PLACES = (AIR, OVEN, SURFACE, CORE)

AIR_FRESH_H, AIR_SOON_H, _AIR_SHARE = 4.0, 1.0, 0.25
"""Between readings of the air that are asked for: a quarter of the time since pouring, within
these. What nobody saw matters most for a lift that is soon to be poured over."""
HAND_SAFE_C = 43.0
"""Hottest a face may be when a casting is taken in the hands: near the 43 C that metals may have
for skin contact of 8 h in EN ISO 13732-1 (from memory). A mould and skin touch for minutes."""
GLASS_MARGIN_K = 5.0
"""How far every point must be below its own glass transition. Assumed, no source."""
HOT_SPARE_K = 2.0
"""So near to the hand-safe temperature an oven or a mould is taken to keep faces above it."""
SHEET_FACTOR = 1.25
"""By which a data sheet's time is stretched where nothing but the data sheet is known. A trial on
random lifts opened none early with it and 1 % without it."""
NIGHT_DROP_K = 8.0
"""Where no night minimum is stated, so far below the expected room. Assumed, no source."""


def air_fresh_h(now_h: float) -> float:
    """Return how old a reading of the air may be, h, before the next one is asked for."""
    return min(AIR_FRESH_H, max(AIR_SOON_H, _AIR_SHARE * now_h))


@dataclass(frozen=True)
class Reading:
    """One temperature seen. Readings marked wrong are not passed in."""

    hour: float
    """From the end of pouring; before it is negative."""
    celsius: float
    where: str
    """What the sensor touched, one of `PLACES`."""
    height_mm: float | None = None
    """Of a core sensor above the base of the lift; the middle where it is not known."""

    def __post_init__(self) -> None:
        require.finite(hour=self.hour)
        require.temperature(celsius=self.celsius)
        if self.where not in PLACES:
            raise ValueError(f"where is {self.where!r}; it must be one of {', '.join(PLACES)}")
        if self.height_mm is not None:
            require.not_negative(height_mm=self.height_mm)

    @property
    def in_body(self) -> bool:
        """Whether the sensor sat in or on the casting."""
        return self.where in (SURFACE, CORE)


@dataclass(frozen=True)
class OvenStay:
    """From going into an oven to coming out; `out_h` None while nobody has said it came out."""

    in_h: float
    set_c: float
    out_h: float | None = None

    def __post_init__(self) -> None:
        require.finite(in_h=self.in_h)
        require.temperature(set_c=self.set_c)
        if self.out_h is not None:
            require.finite(out_h=self.out_h)
            if self.out_h < self.in_h:
                raise ValueError(
                    f"out_h is {self.out_h:g}, before in_h, {self.in_h:g}; out comes after in"
                )


@dataclass(frozen=True)
class Planned:
    """The times a lift was planned with, hours from pouring, in a shop at `at_c`."""

    at_c: float
    peak_h: float | None = None
    opens_h: float | None = None
    closes_h: float | None = None
    demould_h: float | None = None

    def __post_init__(self) -> None:
        require.temperature(at_c=self.at_c)
        for name in ("peak_h", "opens_h", "closes_h", "demould_h"):
            value = getattr(self, name)
            if value is not None:
                require.not_negative(**{name: value})


@dataclass(frozen=True)
class Margins:
    """What "done" asks for beyond the system's own figures."""

    hand_safe_c: float = HAND_SAFE_C
    glass_margin_k: float = GLASS_MARGIN_K
    sheet_factor: float = SHEET_FACTOR

    def __post_init__(self) -> None:
        require.temperature(hand_safe_c=self.hand_safe_c)
        require.not_negative(glass_margin_k=self.glass_margin_k)
        require.within(1.0, 5.0, sheet_factor=self.sheet_factor)


@dataclass(frozen=True)
class PouredLift:
    """Everything the clocks of one poured lift may know."""

    system: SystemData
    depth_mm: float
    base: Face
    top: Face
    now_h: float
    """The moment asked about. The answer holds for it: ask again at the time it announces."""
    expected_c: float
    """Room expected where nothing was read."""
    readings: tuple[Reading, ...] = ()
    """In any order; those after `now_h` are left out."""
    night_c: float | None = None
    """Coldest the shop gets unseen; `NIGHT_DROP_K` below `expected_c` where not stated."""
    mix_c: float | None = None
    """Temperature of the mix as it was poured, where it was read."""
    base_known: bool = True
    """Whether `base` is really known; else the side nobody knows about may be anything."""
    mould_c: float | None = None
    """Temperature that the mould is said to be held at, or that a cold first half has; None: as
    the shop. It may be so or as the shop: of the two the careful one counts for each clock."""
    stays: tuple[OvenStay, ...] = ()
    planned: Planned | None = None
    calibrated: bool = False
    """The kinetics were fitted to the shop's own pours, so they are trusted more."""
    margins: Margins = field(default_factory=Margins)

    def __post_init__(self) -> None:
        require.positive(depth_mm=self.depth_mm)
        require.within(0.0, 5_000.0, depth_mm=self.depth_mm)
        require.not_negative(now_h=self.now_h)
        require.temperature(expected_c=self.expected_c)
        for name in ("night_c", "mix_c", "mould_c"):
            value = getattr(self, name)
            if value is not None:
                require.temperature(**{name: value})

    def each_way(self) -> tuple[PouredLift, ...]:
        """Return the lift as it may be: its mould as the shop and, where one is told, held."""
        plain = replace(self, mould_c=None)
        if self.mould_c is None:
            return (plain,)
        # How well a mould of board or foam leads heat from what holds it is not known.
        metal = self.base_known and self.base.film_w_m2k >= TOOL_SIDES["metal"].film_w_m2k
        held = replace(plain, base=replace(self.base, around_c=self.mould_c), base_known=metal)
        return plain, held

    @property
    def mould_hot(self) -> bool:
        """Whether the mould may be too hot for the faces ever to get cool enough to handle."""
        most_c = self.margins.hand_safe_c - HOT_SPARE_K
        return self.mould_c is not None and self.mould_c >= most_c

    @property
    def coldest_c(self) -> float:
        """Coldest the room may have been where nothing was read."""
        stated = self.expected_c - NIGHT_DROP_K if self.night_c is None else self.night_c
        return min(stated, self.expected_c)

    @property
    def warmest_c(self) -> float:
        """Warmest the room may have been there: as far above the expected as nights are below."""
        return self.expected_c + max(4.0, self.expected_c - self.coldest_c)

    def seen(self) -> tuple[Reading, ...]:
        """Return the readings up to now, in an order that does not depend on their entry."""
        return tuple(sorted(
            (r for r in self.readings if r.hour <= self.now_h),
            key=lambda r: (r.hour, PLACES.index(r.where), r.celsius, r.height_mm or -1.0),
        ))  # fmt: skip


@dataclass(frozen=True)
class Clock:
    """One time asked for, hours from pouring."""

    best_h: float | None
    """Best estimate; None where it is not known or never comes."""
    go_h: float | None
    """On the careful side: nothing may be done on the strength of this clock before (for the
    window of pouring over: after) it. None: not known, never comes, or waits for what `asks`
    says."""
    basis: str
    """'model', 'datasheet', 'planned' or 'unknown': which of them bound `go_h`."""
    stalled: bool = False
    """On the careful side the cure never gets there at the temperatures expected."""
    range_h: tuple[float | None, float | None] = (None, None)
    """Earliest and latest that are plausible (5 % and 95 %); None where there is no such bound."""

    def is_open(self, now_h: float) -> bool:
        """Say whether the clock has run by `now_h`, the moment the question was asked with."""
        return self.go_h is not None and self.go_h <= now_h


@dataclass(frozen=True)
class Hole:
    """A stretch in which nobody read the surroundings, hours from pouring."""

    from_h: float
    to_h: float
    counted_c: float
    """The coldest that was counted in it."""


@dataclass(frozen=True)
class CastingClocks:
    """The four clocks of a poured lift, and what they rest on."""

    peak: Clock
    """By `go_h` the lift is past its hottest."""
    opens: Clock
    """From `go_h` on the next lift may be poured over it."""
    closes: Clock
    """Until `go_h` the next lift still bonds without abrading; its early side."""
    demould: Clock
    cured: Clock
    """Conversion alone, without cooling: an oven may be opened, not a mould."""
    peak_seen: bool
    """A log of the body shows that the peak is over."""
    own_heat_counts: bool
    """A sensor in or on the casting has seen its heat, so the clocks may use it."""
    needs_cool_reading: bool
    """Cooling cannot be computed: `demould.go_h` is None until a surface or core reading at or
    under the hand-safe limit, and not followed by a warmer one, is entered."""
    in_oven: bool
    """In an oven at `now_h`; where that is too hot to handle, demoulding waits for 'out'."""
    ranged: bool
    """Few readings, none in the body, or a stall: show `range_h`, and ask for `asks`."""
    asks: tuple[str, ...] = ()
    """Readings or events that would help, most useful first: 'air', 'oven', 'core', 'surface',
    'out of oven'."""
    holes: tuple[Hole, ...] = ()
    implausible: tuple[Reading, ...] = ()
    """Readings left out because no room or casting of this system can have them."""
    peak_c: float | None = None
    """Best estimate of the hottest that the lift gets; None without a model."""
    conversion: float | None = None
    """At the coldest point, now, best estimate."""
    tg_c: float | None = None
    """Glass transition there, now."""
    computed: Mapping[str, tuple[float, float, float]] | None = None
    """By the model alone, of a wide lift: early, best and late hours of each of its times;
    infinite where it never comes. None without a model."""

    def __post_init__(self) -> None:
        for clock in (self.peak, self.opens, self.closes, self.demould, self.cured):
            for value in (clock.best_h, clock.go_h):
                if value is not None and not math.isfinite(value):
                    raise ValueError(f"a clock holds {value}; it must be finite or None")
