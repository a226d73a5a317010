"""A pour of the shop's own with the curve a probe in it logged."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from planning.core.casting import require
from planning.core.casting.faces import Face


@dataclass(frozen=True)
class LoggedPour:
    """One probe in one lift of the shop's own."""

    depth_mm: float
    height_mm: float
    """Of the probe above the base of the lift."""
    shop_c: float
    base: Face
    top: Face
    times_h: tuple[float, ...]
    temps_c: tuple[float, ...]
    mix_c: float | None = None

    def __post_init__(self) -> None:
        require.positive(depth_mm=self.depth_mm)
        require.within(0.0, self.depth_mm, height_mm=self.height_mm)
        if len(self.times_h) != len(self.temps_c) or len(self.times_h) < 3:
            raise ValueError(
                f"{len(self.times_h)} times and {len(self.temps_c)} temperatures; a logged pour "
                "needs as many of each, at least 3"
            )
        require.not_negative(first_time_h=self.times_h[0])
        if any(b <= a for a, b in pairwise(self.times_h)):
            raise ValueError("the times of a logged pour must rise")
        require.finite(**{f"reading {i}": t for i, t in enumerate(self.temps_c, start=1)})
