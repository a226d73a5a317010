"""What a clock waits for and asks for, in the words that page, sheet, reminder and API show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from planning.clocks.models import Cure, Waits
from planning.core.casting.clock_types import HAND_SAFE_C

WAITS = {
    Waits.COOL_READING: (
        f"Measure its face: at most {HAND_SAFE_C:g} °C. How fast it cools is not known, so only "
        "a reading shows that it may be taken off."
    ),
    Waits.OUT_OF_OVEN: (
        "It is in the oven, too hot to handle: take it out, say so, and let it cool."
    ),
    Waits.STALLED: (
        "Warm the casting: at the temperatures expected its cure may stop before it is done."
    ),
    Waits.NOT_KNOWN: "It is not known when it may be taken off.",
}
TITLES = {
    Waits.COOL_READING: "measure its face",
    Waits.OUT_OF_OVEN: "take it out of the oven",
    Waits.STALLED: "warm it",
    Waits.NOT_KNOWN: "look at it",
}
"""What is to be done, after the casting's name."""
ASKS = {
    "air": "the air of the shop, in the last hours",
    "oven": "the oven it stands in",
    "core": "the core of the casting",
    "surface": "the face of the casting",
    "out of oven": "when it came out of the oven",
}
PLANNED = (
    "A time planned for demoulding is the likeliest one; the clock of a poured casting is on the "
    "careful side and may ask for hours more, and it decides."
)
AGAIN = "Its clock is being worked out again with what was written down last."
NO_OPENING = (
    "It is not known when it can bear the next lift: warm it, or read its core a few times."
)


def waits_for(cure: Cure) -> str:
    """Return in words why demoulding has no time; empty where it has one."""
    return WAITS[Waits(cure.waits_for)] if cure.waits_for else ""


def asks_for(cure: Cure) -> list[str]:
    """Return in words which readings would help most."""
    return [ASKS[one] for one in cure.asks]


def edges_words(edges: Mapping[str, Any]) -> str:
    """Return in words what a clock counts for the edges of its casting, from `Cure.edges`."""
    if not edges:
        return (
            "the data sheet's time to demould is taken for the whole casting, its edges included "
            "(common practice, no source)"
        )
    share = edges["share"]
    if share <= 1:
        return "its edges take no longer than its middle"
    if edges["width_known"]:
        return (
            f"its edges take {share:g} times as long as the middle of a wide casting, which is "
            "counted in the time to take it out of the mould"
        )
    return (
        f"its width is not known, so its edges are taken to need {share:g} times as long as the "
        "middle, the most there is; tell the length and width of the mould to have it exact"
    )
