"""What a tool's face wants next: sealer, first coats, a re-coat, or old wax taken off."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

from shop.core.life_posterior import Spread, posterior
from shop.core.tool_life import Life

What = Literal["seal", "coat", "strip", "shots", "stuck"]
Next = Literal["seal", "season", "re-coat", "strip"]

HOLDS = 0.95
"""Chance with which coats must last until the next re-coat; chosen here, no source."""
STUCK_MEDIAN = 2.0
"""Shots at which half of all coats would let a part stick, over the stated shots between
coats, before any part has stuck: an assumption, no source. It was chosen with `WEAR_SHAPE` so
that 92 of 100 coats last the stated shots (0.5 ** (1 / 2) ** 3 = 0.917): whoever states an
interval leaves a margin, but not a large one. What sticks soon overrules it."""
WEAR_SHAPE, WEAR_SPREAD = 3.0, 0.4
"""Shape of the lives of coats before any part has stuck, and the spread of its log: an
assumption, no source. Coats wear, so early shots seldom stick, which is a shape above 1; 90 % of
the prior lies between 1.6 and 5.8, from little wear to a nearly fixed life."""
MOST_SHOTS = 1_000_000


@dataclass(frozen=True)
class Rules:
    """
    How release agent is kept up on one tool.

    `coats` go on a bare face, `recoat_coats` at each re-coat. `strip_after` re-coats the built-up
    wax comes off. None where there is no such limit.
    """

    coats: int = 1
    recoat_coats: int = 1
    sealed_first: bool = False
    shots_per_coat: int | None = None
    days_per_coat: int | None = None
    strip_after: int | None = None
    bare_first: bool = True
    """Whether a tool without any coat on record wants its first coats."""


@dataclass(frozen=True)
class Done:
    """One thing that happened to the face, with its coats or shots."""

    what: What
    at: datetime
    coats: int = 0
    shots: int = 0


@dataclass(frozen=True)
class Face:
    """What is on the face of a tool now, and since when."""

    sealed: bool = False
    seasoned: bool = False
    coats: int = 0
    """Coats since the last shot; where these are enough, they are a whole build-up."""
    recoats: int = 0
    """Re-coats since the face was bare."""
    coated_at: datetime | None = None
    shots: int = 0
    """Shots since the last whole build-up."""
    stuck_at: datetime | None = None
    """When a part stuck on these coats."""
    bare_at: datetime | None = None
    """When the face was stripped."""


@dataclass(frozen=True)
class Interval:
    """
    Shots between two re-coats, and how far what was seen bears them out.

    `chance` is the chance that coats last `shots`, with its range; None while no part has stuck,
    when what is stated holds as it is.
    """

    stated: int
    shots: int
    stuck: int
    cycles: int
    chance: Spread | None

    @property
    def words(self) -> str:
        """Say the interval and what it rests on, in one sentence."""
        if self.chance is None:
            return f"Re-coat after {self.stated} shots as stated; no part has stuck."
        stuck = "1 part has" if self.stuck == 1 else f"{self.stuck} parts have"
        kept = "as stated" if self.shots == self.stated else f"not after the stated {self.stated}"
        runs = "1 run of coats" if self.cycles == 1 else f"{self.cycles} runs of coats"
        low, high = (round(100 * share) for share in (self.chance.low, self.chance.high))
        return (
            f"Re-coat after {self.shots} shots, {kept}: {stuck} stuck in {runs}. "
            f"Coats last that long with a chance of {round(100 * self.chance.middle)} % "
            f"({low} to {high} % in 90 of 100 cases). How coats wear is an assumption without a "
            "source until more parts have stuck."
        )


def face(done: Iterable[Done], rules: Rules) -> Face:
    """
    Return what is on the face after all that happened, in the order it is given.

    Coats that follow one another without a shot between them are counted together, so they may be
    entered one by one as they dry.
    """
    now = Face()
    for one in done:
        now = _after(now, one, rules)
    return now


def _after(now: Face, one: Done, rules: Rules) -> Face:
    if one.what == "strip":
        return Face(bare_at=one.at)
    if one.what == "seal":
        return replace(now, sealed=True)
    if one.what == "stuck":
        return replace(now, stuck_at=now.stuck_at or one.at)
    if one.what == "shots":
        return replace(now, shots=now.shots + one.shots, coats=0 if one.shots else now.coats)
    before, coats = now.coats, now.coats + one.coats
    needed = rules.recoat_coats if now.seasoned else rules.coats
    now = replace(now, coats=coats, coated_at=one.at)
    if not before < needed <= coats:
        return now
    whole = replace(now, shots=0, stuck_at=None, seasoned=True)
    return replace(whole, recoats=now.recoats + 1) if now.seasoned else whole


def cycles(done: Iterable[Done], rules: Rules) -> list[Life]:
    """
    Return the shots that each build-up of coats has done, failed where a part stuck.

    What runs on after a part has stuck says nothing more of those coats.
    """
    found: list[Life] = []
    now, ended = Face(), False
    for one in done:
        after = _after(now, one, rules)
        if one.what == "stuck" and not ended:
            found.append(Life(max(now.shots, 1), True))
            ended = True
        if now.shots and after.shots == 0:
            if not ended:
                found.append(Life(now.shots, False))
            ended = False
        now = after
    if now.shots and not ended:
        found.append(Life(now.shots, False))
    return found


def interval(stated: int, seen: Sequence[Life]) -> Interval:
    """
    Return the shots after which the next re-coat is due.

    Parameters
    ----------
    stated : int
        Shots between two re-coats that recipe or tool state; never exceeded.
    seen : sequence of Life
        Build-ups of coats, as `cycles` returns them.

    Notes
    -----
    Coats that let a part stick are failures, those that were renewed before are sound to that
    point: the lives of coats follow `life_posterior.posterior`. The interval is the most shots
    that coats last with a chance of `HOLDS`, at least 1.
    """
    if not 1 <= stated <= MOST_SHOTS:
        raise ValueError(f"stated is {stated} shots; it must be 1 to {MOST_SHOTS}")
    stuck = sum(life.failed for life in seen)
    if not stuck:
        return Interval(stated, stated, 0, len(seen), None)
    known = posterior(
        seen, STUCK_MEDIAN * stated, usual_shape=WEAR_SHAPE, shape_spread=WEAR_SPREAD
    )
    low, high = 1, stated
    while low < high:  # the chance falls with the shots
        middle = (low + high + 1) // 2
        if known.chance_of_more(0.0, middle).middle >= HOLDS:
            low = middle
        else:
            high = middle - 1
    return Interval(stated, low, stuck, len(seen), known.chance_of_more(0.0, low))


def next_work(now: Face, rules: Rules) -> Next:
    """Return what the face wants next, whether or not it is due yet."""
    if not now.seasoned:
        if not (rules.bare_first or now.bare_at):
            return "re-coat"
        return "seal" if rules.sealed_first and not now.sealed else "season"
    if rules.strip_after is not None and now.recoats >= rules.strip_after:
        return "strip"
    return "re-coat"
