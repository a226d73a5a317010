"""
When a lift that is still to be poured will bear the next one, by the clock that it will have.

A plan that puts the next lift by another rule than the gate sends people away when they come to
pour. So the clock itself is asked, as if the lift were poured as planned and the shop were as
warm as expected, its air read as seldom as the shop is asked to.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

from django.core.cache import cache

from planning.clocks.answer import ask_in, mould_of
from planning.clocks.gather import lift_of
from planning.core.casting.clock_types import AIR, PouredLift, Reading, air_fresh_h
from planning.pours.models import Pour
from shop.stores_types import SystemInfo

if TYPE_CHECKING:
    from planning.core.casting.edges import Mould

MOST_ASKED = 20
KEPT_S = 24 * 3600
"""So long an answer is kept for other processes; a new version of the clocks is asked by then."""


class NotWorkedOut(Exception):
    """Nobody has asked for this before."""


@dataclass(frozen=True)
class Forecast:
    """Minutes from the end of pouring a lift."""

    opens_min: int
    """From when on it bears the next one; whole minutes, rounded up."""
    closes_min: int
    """Until when that bonds without abrading, rounded down; below `opens_min`: not at all."""


def next_lift(
    pour: Pour, info: SystemInfo, number: int, depth_mm: float, mass_kg: float, shop_c: float,
    night_c: float | None, *, work_out: bool = True,
) -> Forecast | None:  # fmt: skip
    """
    Return when the next lift may follow one of a pour; None where its clock would never say.

    Parameters
    ----------
    pour : Pour
        What it is cast on and in; a mix planned at its own temperature may be as warm as the shop,
        so both are asked about and the stricter holds.
    info : SystemInfo
        Its resin system.
    number : int
        Of the lift, 1 at the bottom.
    depth_mm, mass_kg : float
        Of the lift.
    shop_c, night_c : float
        Temperature expected in the shop, and the coldest it gets unseen where told, C.
    work_out : bool
        Whether to work out what was not asked before, which takes a second or more.

    Raises
    ------
    NotWorkedOut
        Where it was not asked before and is not to be worked out.
    """
    # As the tables round them: a planned lift is the same question again.
    depth_mm, mass_kg = round(depth_mm, 3), round(mass_kg, 3)
    asked = lift_of(pour, info, number, depth_mm, shop_c, night_c)
    thermal = asked.system.thermal
    mould = None
    if thermal is not None:
        mould = mould_of(pour, depth_mm, mass_kg, thermal.density_kg_m3)
    mixes = {asked.mix_c, None if pour.mix_c is None else float(pour.mix_c)}
    found = [_kept(replace(asked, mix_c=mix_c), mould, work_out) for mix_c in mixes]
    known = [one for one in found if one is not None]
    if len(known) < len(found):
        return None
    return Forecast(max(one.opens_min for one in known), min(one.closes_min for one in known))


def _kept(asked: PouredLift, mould: Mould | None, work_out: bool) -> Forecast | None:
    """Return a forecast from where other processes keep it, or work it out."""
    name = hashlib.sha256(repr((asked, mould)).encode()).hexdigest()
    key = f"next-lift:{name}"
    row = cache.get(key)
    if row is None:
        if not work_out:
            raise NotWorkedOut
        found = forecast(asked, mould)
        row = () if found is None else (found.opens_min, found.closes_min)
        cache.set(key, row, KEPT_S)
    return Forecast(*row) if row else None


@lru_cache(maxsize=4096)
def forecast(asked: PouredLift, mould: Mould | None) -> Forecast | None:
    """
    Return when the clock of a lift will let the next one on; None where it never does.

    The clock is asked for later and later moments, each time with the air read up to then, until
    it is open at the moment it is asked for: so does a person who comes when it says.
    """
    minute = 0
    for _ in range(MOST_ASKED):
        answer = ask_in(_read(asked, minute / 60), mould)
        opens_h = None if answer is None else answer.clocks.opens.go_h
        if answer is None or opens_h is None:
            return None
        due = math.ceil(60 * opens_h - 1e-6)
        if due <= minute:
            closes_h = answer.clocks.closes.go_h
            # Where it is not known to bond, it counts as a surface that does not.
            closes = -1 if closes_h is None else math.floor(60 * closes_h)
            return Forecast(minute, closes if closes >= minute else minute - 1)
        minute = due
    return None


def _read(asked: PouredLift, now_h: float) -> PouredLift:
    """Return a lift at a moment, the air read last when it was about to be asked for again."""
    hours = [now_h]
    while hours[-1] >= 0:
        hours.append(hours[-1] - air_fresh_h(hours[-1]))
    readings = tuple(Reading(hour, asked.expected_c, AIR) for hour in reversed(hours[1:]))
    return replace(asked, now_h=now_h, readings=readings)
