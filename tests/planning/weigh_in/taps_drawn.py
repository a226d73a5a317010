"""
The taps of a seed: a day as planned, some of it left out, with other taps strewn into it.

A tap is a name and a few fractions, so that any of them may be left out and the rest still means
something.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import Any

Tap = tuple[str, int, int, float, float, float]
"""Name, device, pot, and three fractions that say which and how much."""
WEIGHTS = {
    "stir": 6, "weigh": 30, "other_can": 5, "empty": 3, "no_more": 5, "contact": 9, "mix": 6,
    "mixed_anew": 2, "mixed": 2, "pour": 14, "pour_all": 2, "loss": 4, "trouble": 3, "scrap": 1,
    "amend": 4, "undo": 2, "conditions": 5, "offline": 5, "online": 7, "reload": 6,
    "hand_over": 3, "bar": 2, "clear": 2, "wait": 8, "later": 2,
}  # fmt: skip
BACKBONE = (
    *((("stir", 0, n / 4, 0.0, 0.0)) for n in range(2)),
    *((("weigh", 0, n / 4, 0.0, 0.0)) for n in range(4)), ("reload", 0, 0.0, 0.0, 0.0),
    ("contact", 0, 0.9, 0.0, 0.0), ("mix", 0, 0.9, 0.0, 0.0),
    ("pour", 0, 0.0, 0.9, 0.9), ("pour", 0, 0.6, 0.9, 0.9),
    ("later", 0, 0.0, 0.0, 0.0), ("stir", 1, 0.0, 0.0, 0.0),
    *((("weigh", 1, n / 2, 0.0, 0.0)) for n in range(2)), ("contact", 1, 0.9, 0.0, 0.0),
    ("mix", 1, 0.9, 0.0, 0.0), ("pour", 1, 0.0, 0.9, 0.9),
)  # fmt: skip
"""A day as planned, by pot. Taps are strewn into it and some of it is left out."""


MEMBERS = (20, 5, 1)
"""So many sequences in a row share their first part, their second, and their last."""
CUTS = (0.0, 0.45, 0.7, 1.0)
MOST_STREWN = 7


def parts_of(seed: int) -> tuple[list[Tap], ...]:
    """
    Return the taps of a seed in three parts.

    Twenty seeds in a row begin alike, five of them go on alike, and each ends in its own way, so
    that what is alike need be tapped only once.
    """
    length = random.Random(seed // MEMBERS[0]).randint(7, len(BACKBONE))
    cuts = [round(share * length) for share in CUTS]
    return tuple(
        _part(BACKBONE[cuts[n] : cuts[n + 1]], random.Random(f"{n} {seed // members}"))
        for n, members in enumerate(MEMBERS)
    )


def _part(day: Sequence[Any], dice: random.Random) -> list[Tap]:
    names, weights = list(WEIGHTS), list(WEIGHTS.values())
    found: list[Tap] = [
        (name, int(dice.random() < 0.2), pot, *rest)
        for name, pot, *rest in day
        if dice.random() < 0.94
    ]
    for _ in range(dice.randint(1, MOST_STREWN)):
        name = dice.choices(names, weights)[0]
        fractions = (dice.random(), dice.random(), dice.random())
        at = dice.randint(0, len(found))
        pot = found[at - 1][2] if found and dice.random() < 0.8 else dice.randrange(2)
        found.insert(at, (name, dice.randrange(2), pot, *fractions))
    return found
