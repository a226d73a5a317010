"""Whether a pot may be mixed or a portion poured now: facts in, what stands in the way out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from planning.core.casting.dew_point import LEAST_MARGIN_K

LEAST_SURFACE_C = 15.0
"""Coldest surface to pour on. Common practice, no source; a data sheet that asks for more wins."""
RELEASED = "released"


@dataclass(frozen=True)
class CanInPot:
    """
    What was weighed from one can.

    Attributes
    ----------
    code, lot : str
        As printed on the can.
    lot_status : str
        As the stores know it now; only 'released' may be poured.
    usable_until : datetime or None
        When expiry or open life ends; None when neither is known.
    material, wanted : str
        What the can holds, and what its row of the sheet asks for.
    """

    code: str
    lot: str
    lot_status: str
    usable_until: datetime | None
    material: str
    wanted: str
    lot_why: str = ""
    """Since when and why a lot that is not released is so, in words."""


@dataclass(frozen=True)
class Underneath:
    """
    The lift or half that a lift is poured on; `poured` once all of it is in.

    `waits_for` says in words why it is not open where no time to come does, `would_help` what to
    read so that it may open sooner. `to_judge` says that it is not open on the careful side, but
    likely is: a person may feel whether it is.
    """

    name: str
    poured: bool
    opens_at: datetime | None = None
    closes_at: datetime | None = None
    abraded: bool = False
    waits_for: str = ""
    would_help: str = ""
    to_judge: bool = False


@dataclass(frozen=True)
class TargetLift:
    """A lift that a portion goes into; `unsigned` names the steps before it that are not done."""

    name: str
    unsigned: tuple[str, ...] = ()
    underneath: tuple[Underneath, ...] = ()


@dataclass(frozen=True)
class Mixing:
    """
    How long a pot has been mixed when its first portion is poured.

    Attributes
    ----------
    since : datetime
        First contact.
    until : datetime
        The end of mixing where somebody told it, else the moment of pouring.
    least : timedelta
        What the system asks for, over all containers.
    second_since : datetime or None
        When it went into the second container; half of `least` is mixed in that one.
    """

    since: datetime
    until: datetime
    least: timedelta
    second_since: datetime | None = None


@dataclass(frozen=True)
class Facts:
    """
    What is known of a pot at one moment.

    Attributes
    ----------
    at : datetime
        When the pot is mixed or the portion poured.
    pour_at : datetime
        When the lifts are reached: `at` for a portion, the end of mixing for first contact.
    ratio_off_percent : float or None
        How far the hardener is off, % of itself; None while a component is missing.
    ratio_tolerance_percent : float
        How far it may be off.
    pour_by : datetime or None
        End of the pot life; None before first contact.
    surface_c, margin_k : float or None
        Surface temperature, and how far it lies above the dew point; None when not measured.
    mix_c, mix_most_c : float or None
        Temperature of the mix as measured, and the warmest that it may be; None when not known.
    mix_why : str
        What happens above that, in words.
    """

    at: datetime
    pour_at: datetime
    cans: tuple[CanInPot, ...]
    lifts: tuple[TargetLift, ...]
    ratio_off_percent: float | None
    ratio_tolerance_percent: float
    pour_by: datetime | None = None
    surface_c: float | None = None
    margin_k: float | None = None
    mix_c: float | None = None
    mix_most_c: float | None = None
    mix_why: str = ""
    ratio_of: str = "hardener"
    """The component that `ratio_off_percent` is told of."""
    mixing: Mixing | None = None
    """None before first contact, and once a portion of the pot is poured."""


@dataclass(frozen=True)
class Hindrance:
    """
    One thing that stands in the way.

    Attributes
    ----------
    code : str
        Short name for programs.
    words, what_to_do : str
        Full sentences.
    reason_passes : bool
        Whether somebody may go on for a reason that they sign with their name.
    clears_at : datetime or None
        When it goes away by itself.
    """

    code: str
    words: str
    what_to_do: str
    reason_passes: bool = False
    clears_at: datetime | None = None


def hindrances(facts: Facts) -> tuple[Hindrance, ...]:
    """Return everything that stands in the way, what no reason passes first."""
    found = [*_cans(facts), *_ratio(facts), *_pot_life(facts), *_lifts(facts), *_surface(facts),
             *_mix(facts), *_mixing(facts)]  # fmt: skip
    return tuple(sorted(found, key=lambda one: one.reason_passes))


def _cans(facts: Facts) -> Iterator[Hindrance]:
    stop = "Do not mix or pour it: scrap this pot and weigh anew from another lot."
    for can in facts.cans:
        named = f"Can {can.code}, lot {can.lot},"
        if can.material != can.wanted:
            yield Hindrance(
                "wrong_component",
                f"{named} holds {can.material}; the sheet asks for {can.wanted}.",
                "Scrap this pot and weigh anew.",
            )
        if can.lot_status != RELEASED:
            yield Hindrance(
                "lot_not_released",
                f"{named} is not released: it is {can.lot_status}{can.lot_why}.",
                stop,
            )
        if can.usable_until is not None and can.usable_until <= facts.at:
            yield Hindrance("lot_expired", f"{named} is past its last day of use.", stop)


def _ratio(facts: Facts) -> Iterator[Hindrance]:
    off = facts.ratio_off_percent
    if off is None:
        yield Hindrance(
            "not_weighed",
            "Not all components are weighed.",
            "Finish weighing, or say of a row that no more goes in.",
        )
    elif abs(off) > facts.ratio_tolerance_percent + 1e-9:
        yield Hindrance(
            "ratio",
            f"The pot has {abs(off):.1f} % too {'much' if off > 0 else 'little'} "
            f"{facts.ratio_of}; "
            f"± {facts.ratio_tolerance_percent:g} % is allowed.",
            "Add what the page asks for until the ratio is right; otherwise scrap the pot.",
        )


def _pot_life(facts: Facts) -> Iterator[Hindrance]:
    if facts.pour_by is not None and facts.at >= facts.pour_by:
        yield Hindrance(
            "pot_life_over",
            "The pot life is over.",
            "Do not pour: scrap the pot, and spread what is left thin so that it stays cool.",
        )


def _lifts(facts: Facts) -> Iterator[Hindrance]:
    for lift in facts.lifts:
        for below in lift.underneath:
            yield from _underneath(lift, below, facts.pour_at)
        if lift.unsigned:
            count = len(lift.unsigned)
            names = ", ".join(lift.unsigned[:4]) + (f" and {count - 4} more" if count > 4 else "")
            yield Hindrance(
                "steps_unsigned",
                f"{lift.name}: {count} {'step is' if count == 1 else 'steps are'} not signed: "
                f"{names}.",
                "Do them and sign them on the casting's page.",
                reason_passes=True,
            )


def _underneath(lift: TargetLift, below: Underneath, at: datetime) -> Iterator[Hindrance]:
    if not below.poured:
        yield Hindrance(
            "lower_not_poured",
            f"{lift.name} goes onto {below.name}, which is not poured.",
            f"Pour {below.name} first.",
        )
    elif below.waits_for:
        yield Hindrance(
            "lower_not_open",
            f"{lift.name} goes onto {below.name}, which cannot bear it yet. {below.waits_for}",
            f"Wait until its page says that it can; do not mix before.{_sooner(below)}",
            reason_passes=below.to_judge,
        )
    elif below.opens_at is not None and at < below.opens_at:
        yield Hindrance(
            "lower_not_open",
            f"{lift.name} goes onto {below.name}, which cannot bear it yet.",
            f"Wait until then; do not mix before.{_sooner(below)}",
            reason_passes=below.to_judge,
            clears_at=below.opens_at,
        )
    elif below.closes_at is not None and at > below.closes_at and not below.abraded:
        yield Hindrance(
            "window_closed",
            f"{below.name} has cured too far for {lift.name} to bond to it.",
            f"Abrade and clean {below.name} and sign that step.",
            reason_passes=True,
        )


def _sooner(below: Underneath) -> str:
    """Return what may open it sooner: a reading, or the judgement of a person."""
    words = ""
    if below.would_help:
        words = (
            " Where nobody reads, the worst is counted: read and enter on the casting's page "
            f"{below.would_help}, and it may open sooner."
        )
    if below.to_judge:
        words += (
            " By the likeliest figures it is ready. Only where somebody has felt at its middle "
            "and at an edge that it is solid and no warmer than the hand, write that as the "
            "reason, with the name of who decides."
        )
    return words


def _surface(facts: Facts) -> Iterator[Hindrance]:
    if facts.surface_c is not None and facts.surface_c < LEAST_SURFACE_C:
        yield Hindrance(
            "surface_cold",
            f"The surface is {facts.surface_c:g} °C; at least {LEAST_SURFACE_C:g} °C is wanted.",
            "Warm the pattern and measure again.",
            reason_passes=True,
        )
    if facts.margin_k is not None and facts.margin_k < LEAST_MARGIN_K:
        side = "below" if facts.margin_k < 0 else "above"
        yield Hindrance(
            "surface_damp",
            f"The surface is {abs(facts.margin_k):.1f} K {side} the dew point; {LEAST_MARGIN_K:g} "
            "K above it are wanted.",
            "Warm the pattern or dry the air, and measure again.",
            reason_passes=True,
        )


def _mix(facts: Facts) -> Iterator[Hindrance]:
    if facts.mix_c is None or facts.mix_most_c is None or facts.mix_c <= facts.mix_most_c:
        return
    yield Hindrance(
        "mix_too_warm",
        f"The mix is {facts.mix_c:g} °C; it may be {facts.mix_most_c:g} °C at most: "
        f"{facts.mix_why}.",
        "Let resin and hardener cool down and measure again, or plan thinner lifts.",
        reason_passes=True,
    )


def _mixing(facts: Facts) -> Iterator[Hindrance]:
    mixing = facts.mixing
    if mixing is None:
        return
    done_at = mixing.since + mixing.least
    words = "The pot"
    since, least = mixing.since, mixing.least
    if mixing.second_since is not None and mixing.second_since + mixing.least / 2 > done_at:
        since, least = mixing.second_since, mixing.least / 2
        done_at, words = since + least, "In its second container the pot"
    if mixing.until >= done_at:
        return
    so_far = max(timedelta(0), mixing.until - since)
    yield Hindrance(
        "mixed_too_short",
        f"{words} was mixed {_minutes(so_far)} min; at least {_minutes(least)} min are wanted.",
        "Mix on; scrape sides and bottom.",
        reason_passes=True,
        clears_at=done_at,
    )


def _minutes(time: timedelta) -> str:
    """Write a time as minutes and seconds, such as 2:05."""
    seconds = int(time.total_seconds())
    return f"{seconds // 60}:{seconds % 60:02d}"
