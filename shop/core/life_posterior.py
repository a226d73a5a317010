"""What failures, tools in service and the stated life say together about the life of tools."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from shop.core.tool_life import Life

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Grid = NDArray[np.float64]

MEDIAN_SPREAD = 0.55
"""Scale of the log of a family's median life over the stated one; chosen here, no source."""
MEDIAN_TAIL = 5.0
"""Degrees of freedom of that spread: few, so that data can overrule a wrong stated life."""
LOOSE_SPREAD = 2.0
"""The same scale where no life is stated and the failures alone must tell."""
USUAL_SHAPE, SHAPE_SPREAD = 1.35, 1.0
"""Middle of the shape before any failure, and the spread of its log; chosen here, no source."""
COVERED = 0.9
"""Share of cases in which a range stated here holds the true figure."""
KEPT = 0.9
"""Chance with which a tool does the shots until its replacement stands ready; chosen here."""
DOUBTED_BELOW = 0.05
"""A stated life that makes the failures seen less likely than this is contradicted."""
_ROWS, _COLUMNS, _PASSES = 41, 61, 3
_LEAST_WEIGHT = 1e-5
_HIGHEST_LOG = 700.0
_LONGEST_LOG, _SHORTEST_LOG, _HALVINGS = 13.0, -14.0, 32


@dataclass(frozen=True)
class Spread:
    """A figure with the range that holds the true one in 90 of 100 cases."""

    low: float
    middle: float
    high: float


@dataclass(frozen=True)
class ShotsLeft:
    """
    Further shots of one tool.

    `kept` are done with a chance of 90 %, `middle` with 50 %; in 90 of 100 cases the tool fails
    between `low` and `high`.
    """

    low: float
    kept: float
    middle: float
    high: float


@dataclass(frozen=True)
class Posterior:
    """
    Weights of Weibull lives on a grid of shapes and log scales.

    `shapes` has shape (r,), `log_scales` (c,), in logs of `unit` shots, and `weights` (r, c); the
    weights add to 1. `failures` and `sound` count the tools, `stated` is in shots.
    """

    shapes: Grid = field(repr=False)
    log_scales: Grid = field(repr=False)
    weights: Grid = field(repr=False)
    unit: float
    failures: int
    sound: int
    stated: float | None

    @property
    def basis(self) -> str:
        """Name what the figures rest on, in one sentence."""
        failed = {0: "no failure", 1: "1 failure"}.get(self.failures, f"{self.failures} failures")
        tools = "1 tool" if self.sound == 1 else f"{self.sound} tools"
        stated = "no stated life"
        if self.stated is not None:
            stated = f"a stated life of {self.stated:g} shots"
        return f"From {failed}, {tools} in service or retired sound, and {stated}."

    def scale(self) -> Spread:
        """Return the scale: the shots by which 63 % of tools have failed."""
        found = _spread(self.log_scales, self.weights.sum(axis=0))
        return Spread(*(self.unit * math.exp(v) for v in (found.low, found.middle, found.high)))

    def shape(self) -> Spread:
        """Return the shape: above 1 where tools wear out, below 1 where young ones fail."""
        return _spread(self.shapes, self.weights.sum(axis=1))

    def median_life(self) -> Spread:
        """Return the shots that half the tools reach."""
        import numpy as np

        logs = self.log_scales[None, :] + math.log(math.log(2.0)) / self.shapes[:, None]
        found = _spread(np.asarray(logs), self.weights)
        return Spread(*(self.unit * math.exp(v) for v in (found.low, found.middle, found.high)))

    def chance_of_more(self, done: float, more: float) -> Spread:
        """
        Return the chance that a tool that has done `done` shots does `more`.

        `middle` is the chance itself, with all that is not known weighed in; `low` and `high` are
        the range of the share of such tools that do it.

        Raises
        ------
        ValueError
            If `done` or `more` is negative.
        """
        import numpy as np

        if done < 0 or more < 0:
            raise ValueError(f"done is {done}, more is {more}; both must be 0 or more")
        worn = self._powers(np.array([done + more])) - self._powers(np.array([done]))
        with np.errstate(over="ignore"):  # a worn that is infinite is a chance of 0
            chances = np.exp(-worn * self._per_power())
        found = _spread(chances, self.weights)
        return Spread(found.low, float((chances * self.weights).sum()), found.high)

    def survival(self, shots: Sequence[float]) -> list[Spread]:
        """Return the share of new tools that does each number of shots."""
        return [self.chance_of_more(0.0, one) for one in shots]

    def shots_left(self, done: float) -> ShotsLeft:
        """
        Return the further shots of a tool that has done `done`.

        Notes
        -----
        The chance of lasting is averaged over the grid and solved for the shots by halving their
        log, for four chances at once; it falls with the shots, so there is one answer.
        """
        import numpy as np

        if done < 0:
            raise ValueError(f"done is {done}; it must be 0 or more")
        wanted = np.array([(1 + COVERED) / 2, KEPT, 0.5, (1 - COVERED) / 2])
        heavy = self.weights > 1e-6 * self.weights.max()
        rows = np.nonzero(heavy)[0]
        per_power, weights = self._per_power()[heavy][:, None], self.weights[heavy]
        worn = self._powers(np.array([done]))
        low, high = np.full(4, _SHORTEST_LOG), np.full(4, _LONGEST_LOG)
        for _ in range(_HALVINGS):
            logs = (low + high) / 2
            more = self._powers(done + self.unit * np.exp(logs)) - worn
            with np.errstate(over="ignore"):
                lasting = weights @ np.exp(-more[rows] * per_power)
            high = np.where(lasting < wanted, logs, high)
            low = np.where(lasting < wanted, low, logs)
        least, kept, middle, most = (float(v) for v in self.unit * np.exp((low + high) / 2))
        return ShotsLeft(least, kept, middle, most)

    def _powers(self, shots: Grid) -> Grid:
        """Return shots over the unit to the power of each shape, shape (r, n)."""
        import numpy as np

        return np.asarray((shots[None, :] / self.unit) ** self.shapes[:, None])

    def _per_power(self) -> Grid:
        """Return the scale over the unit to minus each shape, shape (r, c)."""
        import numpy as np

        return np.asarray(np.exp(-self.shapes[:, None] * self.log_scales[None, :]))


def posterior(
    history: Sequence[Life],
    stated: float | None,
    *,
    usual_shape: float = USUAL_SHAPE,
    shape_spread: float = SHAPE_SPREAD,
) -> Posterior:
    r"""
    Return what is known of the life of a family of tools.

    Parameters
    ----------
    history : sequence of Life
        Every tool of the family that has run; one that is sound counts as such. May be empty.
    stated : float or None
        Shots that half the tools are said to reach. None if nobody has said it.
    usual_shape, shape_spread : float
        Middle of the shape before any failure, and the spread of its log.

    Raises
    ------
    ValueError
        If the stated life is not above 0, or neither it nor a failure is known.

    Notes
    -----
    Bayes' rule on a grid of log scale and log shape. The likelihood of a Weibull life with sound
    tools right-censored is
    :math:`(\beta/\eta)^r \prod_f (t/\eta)^{\beta-1} \exp(-\sum t^\beta / \eta^\beta)`.
    Before any failure the log of the median life over the stated one follows a Student t, and
    the log of the shape a normal distribution (the constants above). The grid is laid again
    three times over the part that carries weight. How often the ranges hold the truth is
    measured in ``tests/benchmarks/bench_tool_life.py``.
    """
    import numpy as np

    failures = sum(x.failed for x in history)
    centre = _centre(history, failures, stated)
    logs = np.log(np.array([x.shots for x in history]) / centre)
    log_failed = float(logs[np.array([x.failed for x in history], dtype=bool)].sum())
    spread = LOOSE_SPREAD if stated is None else MEDIAN_SPREAD
    box = (-12.0, 12.0, math.log(0.1), math.log(50.0))
    for _ in range(_PASSES):
        scales, log_shapes = np.linspace(*box[:2], _COLUMNS), np.linspace(*box[2:], _ROWS)
        weights = _seen(logs, log_failed, failures, scales, log_shapes)
        weights += _before(scales, log_shapes, spread, (usual_shape, shape_spread))
        weights = np.exp(weights - weights.max())
        box = (*_bounds(scales, weights.sum(axis=0)), *_bounds(log_shapes, weights.sum(axis=1)))
    weights /= weights.sum()
    sound = len(history) - failures
    return Posterior(np.exp(log_shapes), scales, weights, centre, failures, sound, stated)


def _seen(logs: Grid, log_failed: float, failures: int, scales: Grid, log_shapes: Grid) -> Grid:
    """Return the log-likelihood of the history on the grid, shape (r, c)."""
    import numpy as np

    shapes = np.exp(log_shapes)
    hazard = np.zeros((len(shapes), len(scales)))
    if len(logs):
        last = float(logs.max())
        power = np.exp(np.outer(shapes, logs - last)).sum(axis=1)
        log_power = np.log(power) + shapes * last
        hazard = np.exp(np.minimum(log_power[:, None] - np.outer(shapes, scales), _HIGHEST_LOG))
    of_failed = failures * (log_shapes[:, None] - np.outer(shapes, scales))
    return np.asarray(of_failed + (shapes[:, None] - 1.0) * log_failed - hazard)


def _before(scales: Grid, log_shapes: Grid, spread: float, of_shapes: tuple[float, float]) -> Grid:
    """Return the log of what is held likely before any tool has run, shape (r, c)."""
    import numpy as np

    away = (scales[None, :] + math.log(math.log(2.0)) / np.exp(log_shapes[:, None])) / spread
    of_median = -(MEDIAN_TAIL + 1.0) / 2.0 * np.log1p(away**2 / MEDIAN_TAIL)
    usual, wide = of_shapes
    of_shape = -0.5 * ((log_shapes[:, None] - math.log(usual)) / wide) ** 2
    return np.asarray(of_median + of_shape)


def _centre(history: Sequence[Life], failures: int, stated: float | None) -> float:
    if stated is not None:
        if not stated > 0:
            raise ValueError(f"stated life is {stated} shots; it must be above 0")
        return float(stated)
    if not failures:
        raise ValueError("no life is stated and no tool has failed; state a life in shots")
    return math.fsum(x.shots for x in history) / failures


def _bounds(at: Grid, weights: Grid) -> tuple[float, float]:
    """Return the ends of what carries weight, one place further out on either side."""
    import numpy as np

    heavy = np.nonzero(weights > _LEAST_WEIGHT * weights.max())[0]
    first, last = max(int(heavy[0]) - 1, 0), min(int(heavy[-1]) + 1, len(at) - 1)
    return float(at[first]), float(at[last])


def _spread(values: Grid, weights: Grid) -> Spread:
    import numpy as np

    order = np.argsort(values, axis=None)
    sorted_values, sorted_weights = values.ravel()[order], weights.ravel()[order]
    reached = np.cumsum(sorted_weights) - sorted_weights / 2
    outside = (1 - COVERED) / 2
    low, middle, high = np.interp([outside, 0.5, 1 - outside], reached, sorted_values)
    return Spread(float(low), float(middle), float(high))


@dataclass(frozen=True)
class AgainstStated:
    """Failures that the stated life would have brought by now, beside those seen."""

    stated: float
    expected: float
    seen: int
    chance: float
    """Of seeing this many or fewer (or this many or more), were the stated life true."""

    @property
    def doubted(self) -> bool:
        """Tell whether the failures contradict the stated life."""
        return self.chance < DOUBTED_BELOW

    @property
    def words(self) -> str:
        """Say the contradiction in one sentence; empty where there is none."""
        if not self.doubted:
            return ""
        how = "last longer" if self.seen < self.expected else "fail sooner"
        seen = "none has" if self.seen == 0 else f"{self.seen} have" if self.seen > 1 else "1 has"
        return (
            f"The tools {how} than stated: with a life of {self.stated:g} shots about "
            f"{self.expected:.1f} would have failed by now; {seen}."
        )


def against_stated(history: Sequence[Life], stated: float) -> AgainstStated:
    r"""
    Compare the failures seen with those that the stated life would have brought.

    Parameters
    ----------
    history : sequence of Life
        Every tool of the family that has run.
    stated : float
        Shots that half the tools are said to reach.

    Notes
    -----
    With the median at the stated life, the failures by now less the summed hazard
    :math:`H = \ln 2 \sum (t/L)^\beta` have mean 0; given :math:`H` their number is compared with
    a Poisson count, which is exact where every tool has failed and close elsewhere. The shape is
    weighed by the data, with the scale held at the stated life. Standard result, from memory.
    """
    import numpy as np
    from scipy.special import pdtr, pdtrc

    if not stated > 0:
        raise ValueError(f"stated life is {stated} shots; it must be above 0")
    if not history:
        return AgainstStated(stated, 0.0, 0, 1.0)
    log_shapes = np.linspace(math.log(0.3), math.log(12.0), 81)
    shapes = np.exp(log_shapes)
    logs = np.log(np.array([x.shots for x in history]) / stated)
    failed = np.array([x.failed for x in history])
    seen = int(failed.sum())
    hazard = math.log(2.0) * np.exp(np.outer(shapes, logs)).sum(axis=1)
    weights = seen * log_shapes + shapes * float(logs[failed].sum()) - hazard
    weights -= 0.5 * ((log_shapes - math.log(USUAL_SHAPE)) / SHAPE_SPREAD) ** 2
    weights = np.exp(weights - weights.max())
    weights /= weights.sum()
    fewer = float((weights * pdtr(seen, hazard)).sum())
    more = float((weights * pdtrc(seen - 1, hazard)).sum()) if seen else 1.0
    return AgainstStated(stated, float((weights * hazard).sum()), seen, min(fewer, more))
