"""Columns and rows of a mixed-integer program of purchases, and its solution by HiGHS."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal


@dataclass
class Columns:
    """Columns and rows of the program while they are gathered."""

    cost: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    rows: list[dict[int, float]] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def column(self, cost: float, upper: float, *, whole: bool = True) -> int:
        self.cost.append(cost)
        self.upper.append(upper)
        self.whole.append(whole)
        return len(self.cost) - 1

    def row(self, terms: dict[int, float], low: float, high: float = math.inf) -> None:
        self.rows.append(terms)
        self.low.append(low)
        self.high.append(high)

    def solve(self, seconds: float, fixed: Mapping[int, float] | None = None) -> Any:
        """Solve it, with some columns fixed; `status` and `mip_dual_bound` are scipy's."""
        import numpy as np
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array

        starts = np.cumsum([0, *(len(row) for row in self.rows)])
        places = np.array([k for row in self.rows for k in row], dtype=np.int64)
        values = np.array([v for row in self.rows for v in row.values()], dtype=float)
        shape = (len(self.rows), len(self.cost))
        low, high = np.zeros(shape[1]), np.array(self.upper)
        for column, value in (fixed or {}).items():
            low[column] = high[column] = value
        return milp(
            np.array(self.cost),
            integrality=np.array(self.whole, dtype=int),
            bounds=Bounds(low, high),
            constraints=LinearConstraint(
                csr_array((values, places, starts), shape=shape), self.low, self.high
            ),
            options={"time_limit": seconds, "mip_rel_gap": 0.0},
        )


@dataclass(frozen=True)
class Count:
    """
    A column that counts packs of one kind bought on one day, at one price, `each` at a time.

    Where a price starts at some number of packs, that number is one column, 0 or 1, and what is
    bought beyond it another: the program then sees that the first pack brings many.
    """

    line: int
    pack: int
    day: int
    column: int
    price: float
    each: int
    fewest: int
    most: int | None
    part: Literal["all", "first", "beyond"]
