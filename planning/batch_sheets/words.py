"""What a batch says in words on its sheet: the same on paper, in the PDF and on a screen."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from planning.batches.care import CARE
from planning.batches.models import EntryKind
from planning.batches.printed import clock_text, day_clock_text
from shared.templatetags.units import minutes

FOLLOW = "Follow the safety data sheet, local rules and trained people."
EMERGENCY_NUMBER = "Emergency number: ____________________   First aid: ____________________"
BRUSH = "Brush a thin coat on the pattern, into corners and details."
MIX = "Mix{least}; scrape sides and bottom. The pot life runs from first contact."
SECOND = (
    "Pour into a second, clean container and mix again{least}. The pot life does not start anew."
)
POURING_STEPS = (
    "Clean, dry pot on the scale: tare to 0. Weigh row by row, hardener last, on the one scale; "
    "tare to 0 before each further can; write down what the scale shows.",
    MIX.format(least=""),
    SECOND.format(least=""),
    BRUSH,
    "Pour slowly at one point and let it find its level. Do not scrape the container out.",
)
"""Common practice, no source; the data sheet wins."""


def work_of(batch: Mapping[str, Any]) -> list[str]:
    """
    Return what to do, in order; a brush coat only where a portion meets its pattern.

    Half of the system's mixing time is for each of the two containers.
    """
    half = f" at least {float(batch['mix_min']) / 2:g} min"
    timed = {words.format(least=""): words.format(least=half) for words in (MIX, SECOND)}
    stir = [f"First stir {what} to the bottom. By ________" for what in batch["stir"]]
    brushed = any(portion["brush_coat_kg"] for portion in batch["portions"])
    steps = (timed.get(words, words) for words in POURING_STEPS if brushed or words != BRUSH)
    return [*stir, *steps]


def hardener_rule(batch: Mapping[str, Any]) -> str:
    """Return how much of each other component goes to the resin that is really in the pot."""
    rules = [_rule(one) for one in batch["ratios"]]
    return f"Rows that are all 'within' keep the ratio together. {' '.join(rules)}"


def _rule(one: Mapping[str, Any]) -> str:
    share = Decimal(one["per_100"]) / 100
    off = share * Decimal(one["tolerance_percent"]) / 100
    low, high = (f"{(share + sign * off).normalize():f}" for sign in (-1, 1))
    return (
        f"All {one['role']} together: resin really weighed × {share.normalize():f}, allowed "
        f"× {low} to × {high}."
    )


def how_of(portion: Mapping[str, Any]) -> str:
    """Return how and where a portion is poured."""
    of = f" of {portion['lifts']}" if portion["lifts"] > 1 else ""
    words = [f"Lift {portion['lift']}{of}, {portion['depth_mm']:.1f} mm deep"]
    if portion["place"]:
        words.append(portion["place"])
    for name, what in (("mould_c", "mould"), ("oven_c", "oven")):
        if portion.get(name) is not None:
            words.append(f"{what} at {portion[name].normalize():f} °C")
    if portion["abrade_first"]:
        words.append("ABRADE AND CLEAN the lift below first")
    if portion["brush_coat_kg"]:
        words.append(f"brush coat {portion['brush_coat_kg']:.3f} kg of it first")
    return "; ".join(words)


DEMOULD_NOT_BEFORE = (
    "These are the careful times as known when this was printed, and they may move. A casting is "
    "taken off once its page says that it may be."
)


def after_of(portion: Mapping[str, Any], zone: str) -> str:
    """Return what follows once it is in: who stays, and when the next lift may go on."""
    words = []
    if portion["attend_min"]:
        words.append(f"Hottest about {minutes(portion['attend_min'])} after it: somebody stays.")
    if portion["next_lift"] is None:
        return " ".join([*words, "Top lift."]) if portion["lifts"] > 1 else " ".join(words)
    least, most = portion["gap_least_min"], portion["gap_greatest_min"]
    if most and most < least:
        gap = f"from {minutes(least)} after it; it bonds only to {minutes(most)}: ABRADE before it"
    elif most:
        gap = f"{minutes(least)} to {minutes(most)} after it"
    else:
        gap = f"from {minutes(least)} after it"
    planned = day_clock_text(portion["next_at"], zone)
    return " ".join([*words, f"Lift {portion['next_lift']}: {gap}; planned {planned}."])


def step_of(step: Mapping[str, Any], zone: str) -> str:
    """Return a step's name, with the load of the oven its wait is spent in."""
    oven = step["oven"]
    if oven is None:
        return str(step["name"])
    at = clock_text(oven["start_at"], zone)
    return f"{step['name']}; into {oven['name']} ({oven['cycle']}) at {at}"


def emergency() -> str:
    """Return in short what to do about a hot pot and a splash; the day's first page has it all."""
    hot, spill = CARE[EntryKind.HOT_POT], CARE[EntryKind.SPILL]
    return f"HOT POT: {hot[0]} {hot[2]} {hot[3]} SPLASH: {spill[0]} {spill[1]}"


def good_to(row: Mapping[str, Any]) -> str:
    """Return until when a lot may be used, in words."""
    return "" if row["expires_on"] is None else f", good to {row['expires_on']:%d %b %Y}"
