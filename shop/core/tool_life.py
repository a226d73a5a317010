"""How long tools last, from those that failed and those still in service."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

_NORMAL = NormalDist()


@dataclass(frozen=True)
class Life:
    """Shots one tool has done; `failed` is False while it is in service or was retired sound."""

    shots: float
    failed: bool

    def __post_init__(self) -> None:
        if not self.shots > 0:
            raise ValueError(f"shots is {self.shots}; it must be above 0")


def lives(shots: Sequence[float], failed: Sequence[bool | int]) -> tuple[Life, ...]:
    """Pair shots with whether the tool failed at them."""
    return tuple(Life(s, bool(f)) for s, f in zip(shots, failed, strict=True))


@dataclass(frozen=True)
class SurvivalStep:
    """The share surviving just after one count of shots at which tools failed."""

    shots: float
    at_risk: int
    failures: int
    survival: float
    standard_error: float
    cumulative_hazard: float


def survival_steps(history: Sequence[Life]) -> tuple[SurvivalStep, ...]:
    r"""
    Return the Kaplan-Meier survival, Greenwood error and Nelson-Aalen hazard at each failure.

    Parameters
    ----------
    history : sequence of Life
        A tool still in service at the shots another failed at counts as still at risk there.

    Notes
    -----
    :math:`S(t) = \prod (1 - d_i/n_i)`, :math:`se = S \sqrt{\sum d_i / n_i (n_i - d_i)}`,
    :math:`H(t) = \sum d_i/n_i`; standard results, from memory, checked on published data.
    """
    steps = []
    survival, spread, hazard = 1.0, 0.0, 0.0
    for shots in sorted({x.shots for x in history if x.failed}):
        at_risk = sum(x.shots >= shots for x in history)
        failures = sum(x.failed and x.shots == shots for x in history)
        survival *= 1.0 - failures / at_risk
        if at_risk > failures:
            spread += failures / (at_risk * (at_risk - failures))
        hazard += failures / at_risk
        error = survival * math.sqrt(spread)
        steps.append(SurvivalStep(shots, at_risk, failures, survival, error, hazard))
    return tuple(steps)


def band(step: SurvivalStep, confidence: float) -> tuple[float, float]:
    r"""
    Return the range of the share surviving after one step.

    Parameters
    ----------
    step : SurvivalStep
        From `survival_steps`.
    confidence : float
        Between 0 and 1.

    Notes
    -----
    :math:`S^{\exp(\pm z\, se / (S \ln S))}`: the range is symmetric for :math:`\ln(-\ln S)` and
    stays within 0 and 1 (standard result, from memory; checked against scipy). Where nobody is
    left the error is not known and the range is all of 0 to 1.
    """
    if not 0 < confidence < 1:
        raise ValueError(f"confidence is {confidence}; it must lie between 0 and 1")
    if not 0 < step.survival < 1:
        return (0.0, 1.0)
    z = _NORMAL.inv_cdf((1 + confidence) / 2)
    power = math.exp(z * step.standard_error / (step.survival * -math.log(step.survival)))
    return step.survival**power, step.survival ** (1 / power)


def step_at(steps: Sequence[SurvivalStep], shots: float) -> SurvivalStep | None:
    """Return the last step at or before `shots`; None before the first failure."""
    place = bisect_right([s.shots for s in steps], shots)
    return steps[place - 1] if place else None


def median_life(steps: Sequence[SurvivalStep]) -> float | None:
    """Return the first shots by which half the tools have failed; None if never reached."""
    return next((s.shots for s in steps if s.survival <= 0.5 + 1e-12), None)


def mean_life_to(steps: Sequence[SurvivalStep], limit: float) -> float:
    """Return the mean shots a tool does up to `limit`: the area under the survival steps."""
    area, start, survival = 0.0, 0.0, 1.0
    for step in steps:
        if step.shots >= limit:
            break
        area += survival * (step.shots - start)
        start, survival = step.shots, step.survival
    return area + survival * (limit - start)


@dataclass(frozen=True)
class Comparison:
    """Log-rank test of two groups: chi-square (1 degree of freedom) and expected failures."""

    chi_square: float
    expected_first: float

    @property
    def p_value(self) -> float:
        """Chance of a difference this large between groups that last alike."""
        return 2.0 * (1.0 - _NORMAL.cdf(math.sqrt(self.chi_square)))


def compare(first: Sequence[Life], second: Sequence[Life]) -> Comparison:
    """
    Test whether tools of two kinds, such as two resins, last alike.

    Parameters
    ----------
    first, second : sequence of Life
        Histories of the two kinds.

    Raises
    ------
    ValueError
        If no tool failed while both kinds were at risk.
    """
    observed = expected = variance = 0.0
    everyone = [*first, *second]
    for shots in sorted({x.shots for x in everyone if x.failed}):
        n1 = sum(x.shots >= shots for x in first)
        n = sum(x.shots >= shots for x in everyone)
        d = sum(x.failed and x.shots == shots for x in everyone)
        observed += sum(x.failed and x.shots == shots for x in first)
        expected += d * n1 / n
        if n > 1:
            variance += d * (n1 / n) * (1 - n1 / n) * (n - d) / (n - 1)
    if variance == 0:
        raise ValueError("no tool failed while both kinds were in service; nothing to compare")
    return Comparison((observed - expected) ** 2 / variance, expected)


def mean_life_bound(total_shots: float, failures: int, confidence: float) -> float:
    r"""
    Return a lower bound on the mean life from total shots done and failures seen, even none.

    Parameters
    ----------
    total_shots : float
        Shots of all tools together, failed or not.
    failures : int
        Tools that failed.
    confidence : float
        Between 0 and 1.

    Notes
    -----
    :math:`2T / \chi^2_{cl,\,2r+2}` for a constant failure rate (Epstein), from memory.
    """
    if total_shots <= 0:
        raise ValueError(f"total_shots is {total_shots}; it must be above 0")
    if not 0 < confidence < 1:
        raise ValueError(f"confidence is {confidence}; it must lie between 0 and 1")
    from scipy.special import chdtri

    return float(2.0 * total_shots / chdtri(2 * failures + 2, 1.0 - confidence))


def constant_rate(history: Sequence[Life]) -> tuple[float, float]:
    """Return failures per shot and mean shots to failure, if age did not matter."""
    total = math.fsum(x.shots for x in history)
    failures = sum(x.failed for x in history)
    if not failures:
        raise ValueError("no tool has failed; use mean_life_bound instead")
    return failures / total, total / failures
