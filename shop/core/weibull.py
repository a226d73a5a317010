"""One Weibull life, and the one that fits failures and sound tools best."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from shop.core.tool_life import Life


@dataclass(frozen=True)
class Weibull:
    """A life distribution: shape (1), scale (shots); errors where it was fitted."""

    shape: float
    scale: float
    shape_error: float | None = None
    scale_error: float | None = None
    log_likelihood: float | None = None
    failures: int = 0
    basis: str = "stated"

    def survival(self, shots: float) -> float:
        """Chance of lasting `shots`."""
        return math.exp(-((shots / self.scale) ** self.shape))

    def life_at(self, survival: float) -> float:
        """Shots that a share `survival` of tools lasts; 0.9 gives the B10 life."""
        if not 0 < survival < 1:
            raise ValueError(f"survival is {survival}; it must lie between 0 and 1")
        return float(self.scale * (-math.log(survival)) ** (1.0 / self.shape))

    def mean(self) -> float:
        """Mean life, shots."""
        return self.scale * math.gamma(1.0 + 1.0 / self.shape)

    def chance_of_more(self, done: float, more: float) -> float:
        """Chance that a tool that has done `done` shots does `more`."""
        worn, wanted = (
            (done / self.scale) ** self.shape,
            ((done + more) / self.scale) ** self.shape,
        )
        return math.exp(worn - wanted)

    def more_at(self, done: float, chance: float) -> float:
        """Further shots a tool that has done `done` will do with this chance."""
        if not 0 < chance < 1:
            raise ValueError(f"chance is {chance}; it must lie between 0 and 1")
        worn = (done / self.scale) ** self.shape - math.log(chance)
        return float(self.scale * worn ** (1.0 / self.shape)) - done

    def mean_more(self, done: float) -> float:
        r"""
        Mean further shots of a tool that has done `done`.

        Notes
        -----
        :math:`\int_0^\infty S(d+x)/S(d)\,dx`; with :math:`u = (x/\eta)^\beta` it is an upper
        incomplete gamma function, so no number of steps has to be chosen.
        """
        from scipy.special import gamma, gammaincc

        a = 1.0 / self.shape
        worn = (done / self.scale) ** self.shape
        if worn > 500.0:  # exp(worn) would overflow; the first two terms are exact to 1e-5 here
            near = worn ** (a - 1.0) * (1.0 + (a - 1.0) / worn)
            return float(self.scale / self.shape * near)
        tail = float(gammaincc(a, worn) * gamma(a))
        return self.scale / self.shape * tail * math.exp(worn)


def fit(history: Sequence[Life]) -> Weibull:
    r"""
    Fit a Weibull life by maximum likelihood, tools in service counted as right-censored.

    Parameters
    ----------
    history : sequence of Life
        Shots and whether the tool failed. Dropping the sound ones, or calling them failed, gives
        wrong answers (both are shown in the tests).

    Returns
    -------
    Weibull
        With standard errors from the observed information and the log-likelihood.

    Raises
    ------
    ValueError
        If fewer than two different counts of shots at failure are known.

    Notes
    -----
    The shape solves :math:`\sum t^\beta \ln t / \sum t^\beta - 1/\beta - \overline{\ln t_f} = 0`,
    a rising function, found by halving; :math:`\eta^\beta = \sum t^\beta / r`. Standard result,
    from memory, checked on published data sets.
    """
    failed = [x.shots for x in history if x.failed]
    if len(set(failed)) < 2:
        raise ValueError(
            f"{len(failed)} failures at {len(set(failed))} different counts of shots; "
            "at least 2 different ones are needed to fit a shape"
        )
    unit = max(x.shots for x in history)
    times = [x.shots / unit for x in history]
    mean_log = math.fsum(math.log(t / unit) for t in failed) / len(failed)

    def slope(shape: float) -> float:
        powers = [t**shape for t in times]
        logs = math.fsum(p * math.log(t) for p, t in zip(powers, times, strict=True))
        return logs / math.fsum(powers) - 1.0 / shape - mean_log

    high = 1.0
    while slope(high) < 0:
        high *= 2.0
    shape = _root(slope, 0.0, high)
    scale = unit * (math.fsum(t**shape for t in times) / len(failed)) ** (1.0 / shape)
    errors = _errors(history, shape, scale)
    likelihood = _log_likelihood(history, shape, scale)
    return Weibull(shape, scale, *errors, likelihood, len(failed), "fitted")


def _root(f: Callable[[float], float], low: float, high: float) -> float:
    for _ in range(100):
        middle = (low + high) / 2
        low, high = (low, middle) if f(middle) > 0 else (middle, high)
    return (low + high) / 2


def _log_likelihood(history: Sequence[Life], shape: float, scale: float) -> float:
    total = 0.0
    for life in history:
        z = life.shots / scale
        total -= z**shape
        if life.failed:
            total += math.log(shape / scale) + (shape - 1.0) * math.log(z)
    return total


def _errors(history: Sequence[Life], shape: float, scale: float) -> tuple[float, float]:
    """Return standard errors of shape and scale from the observed information matrix."""
    failures = sum(x.failed for x in history)
    z = [x.shots / scale for x in history]
    power = [v**shape for v in z]
    logs = [math.log(v) for v in z]
    sums = [math.fsum(p * v**k for p, v in zip(power, logs, strict=True)) for k in range(3)]
    i_shape = failures / shape**2 + sums[2]
    i_scale = (shape * (shape + 1.0) * sums[0] - failures * shape) / scale**2
    i_both = (failures - sums[0] - shape * sums[1]) / scale
    determinant = i_shape * i_scale - i_both**2
    return math.sqrt(i_scale / determinant), math.sqrt(i_shape / determinant)


def with_assumed_shape(history: Sequence[Life], shape: float) -> Weibull:
    r"""
    Return the life for an assumed shape, for a history too small to fit one.

    Parameters
    ----------
    history : sequence of Life
        At least one failure.
    shape : float
        Assumed; 1 means no ageing, 2 to 3 wear. The caller must say where it comes from.

    Notes
    -----
    :math:`\eta = (\sum t^\beta / r)^{1/\beta}` (Abernethy's Weibayes), method from memory.
    """
    failures = sum(x.failed for x in history)
    if not failures:
        raise ValueError("no tool has failed; the scale is unbounded")
    if shape <= 0:
        raise ValueError(f"shape is {shape}; it must be above 0")
    scale = (math.fsum(x.shots**shape for x in history) / failures) ** (1.0 / shape)
    return Weibull(shape, scale, failures=failures, basis=f"shape {shape:g} assumed")


def rank_regression(history: Sequence[Life]) -> tuple[float, float]:
    """
    Return the shape by median-rank regression, Y on X and X on Y, as a check of the fit.

    Notes
    -----
    Benard's ranks (i - 0.3) / (n + 0.4) with adjusted order for tools in service between
    failures; from memory.
    """
    n = len(history)
    ordered = sorted(history, key=lambda x: (x.shots, not x.failed))
    order, points = 0.0, []
    for place, life in enumerate(ordered):
        if life.failed:
            order += (n + 1.0 - order) / (1.0 + n - place)
            rank = (order - 0.3) / (n + 0.4)
            points.append((math.log(life.shots), math.log(-math.log(1.0 - rank))))
    mx = math.fsum(x for x, _ in points) / len(points)
    my = math.fsum(y for _, y in points) / len(points)
    xx = math.fsum((x - mx) ** 2 for x, _ in points)
    yy = math.fsum((y - my) ** 2 for _, y in points)
    xy = math.fsum((x - mx) * (y - my) for x, y in points)
    return xy / xx, yy / xy
