"""How warm a batch's mix is planned and may be, and what it is that limits it, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from planning.batches.models import Batch, BatchPortion
from planning.clocks.deadline import life_at
from planning.core.casting.cautions import Caution, cautions_of
from planning.core.casting.warmest_mix import LiftOfMix, WarmestMix, warmest_mix
from planning.pours.setting import setting_of
from planning.system_data import system_data
from shop.stores_types import SystemInfo


@dataclass(frozen=True)
class MixHeat:
    """
    The temperature of a batch's mix.

    Attributes
    ----------
    planned_c : Decimal or None
        As planned; None: as warm as the shop.
    expected_c : Decimal
        Of the shop, as the plan expects it.
    most_c : int or None
        Warmest that it may be; None where not even the planned one may be.
    why : str
        What happens above `most_c`.
    words : str
        All of it in a sentence.
    cautions : tuple of Caution
        What was assumed of the system at these temperatures.
    """

    planned_c: Decimal | None
    expected_c: Decimal
    most_c: int | None
    why: str
    words: str
    cautions: tuple[Caution, ...]


def mix_heat(batch: Batch, info: SystemInfo) -> MixHeat:
    """Return how warm a batch's mix may be; portions, lifts and pours are best prefetched."""
    portions = list(batch.portions.all())
    expected = max((portion.lift.expected_c for portion in portions), default=Decimal(20))
    found = _warmest(batch, info, portions, float(expected))
    most_c = None if found is None else found.celsius
    settings = [setting_of(portion.lift.pour) for portion in portions]
    others = [temp for one in settings for temp in (one.mix_c, one.mould_c, one.oven_c)] + [
        None if batch.mix_c is None else float(batch.mix_c)
    ]
    return MixHeat(
        planned_c=batch.mix_c,
        expected_c=expected,
        most_c=most_c,
        why=_why(found, portions),
        words=_words(batch, expected, found, portions),
        cautions=cautions_of(system_data(info), float(expected), *others),
    )


def _warmest(
    batch: Batch, info: SystemInfo, portions: Sequence[BatchPortion], shop_c: float
) -> WarmestMix | None:
    needed = (batch.planned_pour_end - batch.planned_contact).total_seconds() / 60
    lifts = [
        LiftOfMix(float(portion.lift.depth_mm), setting_of(portion.lift.pour).faces())
        for portion in portions
    ]
    return warmest_mix(
        system_data(info), shop_c, math.ceil(needed),
        lambda celsius: life_at(info, batch.mixed_kg, celsius)[0], lifts,
    )  # fmt: skip


def _words(
    batch: Batch, expected: Decimal, found: WarmestMix | None, portions: Sequence[BatchPortion]
) -> str:
    planned = (
        f"Mix planned as warm as the shop, {expected.normalize():f} °C"
        if batch.mix_c is None
        else f"Mix planned at {batch.mix_c.normalize():f} °C"
    )
    if found is None:
        return f"{planned}: warmer than that it must not be. Measure it before first contact."
    return (
        f"{planned}; it may be {found.celsius} °C at most: {_why(found, portions)}. Measure it "
        "before first contact."
    )


def _why(found: WarmestMix | None, portions: Sequence[BatchPortion]) -> str:
    if found is None:
        return "it does not last until it is poured, or a lift gets too hot"
    if found.lift is not None:
        lift = portions[found.lift].lift
        return f"above that {lift.pour} lift {lift.number} gets too hot at {lift.depth_mm:.1f} mm"
    return {
        "pot life": "above that it does not last until it is poured",
        "data sheet": "above that nothing says how hot the lift gets",
        "usual limit": "warmer resin is never mixed",
    }[found.bound_by]
