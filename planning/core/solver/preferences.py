"""How the insertion of a pour weighs what it can choose."""

from __future__ import annotations

import random
from dataclasses import dataclass, field

from planning.core.solver.board import LATE_MINUTE


@dataclass
class Preferences:
    """How an insertion weighs its choices; the search varies it."""

    joins: int = 6
    """How many shared pots are tried for each lift."""
    late_minute: float = LATE_MINUTE
    per_day: float = 0.03
    """Price of pouring a day later, in pots."""
    per_kg: float = 0.004
    """Price of a kilogram of room left in a pot that was joined, in pots."""
    noise: float = 0.0
    rng: random.Random | None = None
    sharing: bool = True
    delay: float = 0.0
    """How often a new pot is put later than it need be, so that others may come to share it."""
    keep: dict[tuple[int, int], int] = field(default_factory=dict)
    """Start of pouring by (job, lift) in the previous plan."""
    move_price: float = 0.0
    keep_steps: dict[int, dict[str, int]] = field(default_factory=dict)
    """Start of each step by its id in the previous plan, by job."""
