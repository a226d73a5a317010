"""
How often the ranges of a tool's life hold the truth, over simulated fleets.

Run with ``python -m tests.benchmarks.bench_tool_life [--fleets 2000]``. A fleet is 3 to 100 tools
of one family. The true median life lies between half and twice the stated one (evenly on a log
scale) and the true shape between 1 and 4, neither as the product supposes. Tools are watched for
a time drawn from the stated life, each from its own start. Fleets are drawn until each number of
failures that comes up at all has as many as were asked for.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from shop.core.life_posterior import COVERED, Posterior, Spread, posterior
from shop.core.tool_life import Life

STATED = 200.0
SIZES = (3, 5, 10, 30, 100)
GROUPS = ("0", "1", "2", "3-4", "5-9", "10+")
FIGURES = ("scale", "shape", "new tool lasts", "used tool lasts", "shots left")
RAREST = 0.01
TRIES = 3000


@dataclass(frozen=True)
class Truth:
    """How true lives differ from the stated one."""

    name: str
    factor: float = 2.0
    exactly: bool = False
    kind: str = "weibull"

    def draw(self, rng: np.random.Generator) -> tuple[float, float]:
        """Return the true median and the shape (of the kind's own parameter)."""
        away = math.log(self.factor)
        log = rng.choice([-away, away]) if self.exactly else rng.uniform(-away, away)
        return STATED * math.exp(log), rng.uniform(1.0, 4.0)

    def lives(self, rng: np.random.Generator, median: float, shape: float, n: int) -> np.ndarray:
        if self.kind == "lognormal":  # the spread of logs of a Weibull life of that shape
            return median * np.exp(rng.normal(0.0, math.pi / math.sqrt(6) / shape, n))
        drawn = median / math.log(2) ** (1 / shape) * rng.weibull(shape, n)
        if self.kind == "mixed":  # a fifth of the tools has a flaw and lasts a quarter as long
            return np.where(rng.random(n) < 0.2, drawn / 4, drawn)
        return drawn


PLAIN = Truth("Weibull, stated life wrong up to 2 times")
OTHERS = (
    Truth("Weibull, stated life wrong 4 times", factor=4.0, exactly=True),
    Truth("lognormal lives", kind="lognormal"),
    Truth("one tool in five flawed", kind="mixed"),
)


def group_of(failures: int) -> str:
    return "10+" if failures >= 10 else "5-9" if failures >= 5 else (
        "3-4" if failures >= 3 else str(failures)
    )  # fmt: skip


@dataclass(frozen=True)
class Fleet:
    """Tools watched for a while; `ends` are the lives nobody has seen yet."""

    median: float
    shape: float
    ends: np.ndarray
    seen_to: np.ndarray

    @property
    def failed(self) -> np.ndarray:
        return self.ends < self.seen_to

    @property
    def history(self) -> list[Life]:
        shots = np.minimum(self.ends, self.seen_to)
        return [Life(float(s), bool(f)) for s, f in zip(shots, self.failed, strict=True)]


def draw_fleet(rng: np.random.Generator, size: int, truth: Truth) -> Fleet:
    median, shape = truth.draw(rng)
    horizon = STATED * rng.uniform(0.25, 2.0)
    seen_to = horizon * rng.uniform(0.05, 1.0, size)
    return Fleet(median, shape, truth.lives(rng, median, shape, size), seen_to)


def fleets(size: int, group: str, wanted: int, truth: Truth, seed: int) -> Iterator[Fleet]:
    """Yield fleets with that many failures; none at all where they hardly ever come up."""
    rng = np.random.default_rng([seed, size, GROUPS.index(group)])
    sample = (draw_fleet(rng, size, truth) for _ in range(TRIES))
    common = sum(group_of(int(f.failed.sum())) == group for f in sample)
    while common >= RAREST * TRIES and wanted:
        fleet = draw_fleet(rng, size, truth)
        if group_of(int(fleet.failed.sum())) == group:
            wanted -= 1
            yield fleet


@dataclass(frozen=True)
class Row:
    """Shares of fleets in which each range held the truth, and how wide the ranges were."""

    size: int
    group: str
    fleets: int
    covered: dict[str, float]
    kept: float
    kept_new: float
    width_scale: float
    width_shape: float


def width(spread: Spread) -> float:
    return math.log(spread.high / spread.low)


def prior_widths() -> tuple[float, float]:
    before = posterior([], STATED)
    return width(before.scale()), width(before.shape())


def measure(size: int, group: str, wanted: int, truth: Truth = PLAIN, seed: int = 1) -> Row | None:
    """Judge the ranges over fleets of one size with one number of failures."""
    rng = np.random.default_rng([seed, size, GROUPS.index(group), 7])
    rows = [judge(fleet, truth, rng) for fleet in fleets(size, group, wanted, truth, seed)]
    if not rows:
        return None
    means = np.mean(rows, axis=0)
    scale, shape = prior_widths()
    return Row(
        size, group, len(rows), dict(zip(FIGURES, means[:5], strict=True)),
        *means[5:7], means[7] / scale, means[8] / shape,
    )  # fmt: skip


def judge(fleet: Fleet, truth: Truth, rng: np.random.Generator) -> list[float]:
    known = posterior(fleet.history, STATED)
    scale = fleet.median / math.log(2) ** (1 / fleet.shape)
    more = STATED * rng.uniform(0.2, 1.0)
    new = float(truth.lives(rng, fleet.median, fleet.shape, 1)[0])
    used = np.flatnonzero(~fleet.failed)
    done, left = 0.0, new
    if len(used):
        done = float(fleet.seen_to[used[0]])
        left = float(fleet.ends[used[0]]) - done

    def lasting(after: float) -> float:
        return math.exp((after / scale) ** fleet.shape - ((after + more) / scale) ** fleet.shape)

    ahead = known.shots_left(done)
    held = [
        within(known.scale(), scale),
        within(known.shape(), fleet.shape),
        within(known.chance_of_more(0.0, more), lasting(0.0)),
        within(known.chance_of_more(done, more), lasting(done)),
        ahead.low <= left <= ahead.high,
        left >= ahead.kept,
        new >= known.shots_left(0.0).kept,
    ]
    return [*map(float, held), width(known.scale()), width(known.shape())]


def within(spread: Spread, true: float) -> bool:
    return spread.low <= true <= spread.high


def one_fleet_ms(size: int = 100) -> float:
    """Return the time of every figure of one fleet, the shortest of ten."""
    fleet = draw_fleet(np.random.default_rng(5), size, PLAIN)
    best = math.inf
    for _ in range(10):
        start = time.perf_counter()
        figures(posterior(fleet.history, STATED))
        best = min(best, time.perf_counter() - start)
    return 1000 * best


def figures(known: Posterior) -> tuple[object, ...]:
    return (
        known.scale(), known.shape(), known.median_life(), known.shots_left(50.0),
        known.chance_of_more(50.0, 100.0),
    )  # fmt: skip


HEAD = (
    "| tools | failures | fleets | scale | shape | new tool lasts | used tool lasts | shots left "
    "| used tool lasts to its date | new tool lasts to its date | width of scale | of shape |\n"
    "|---|---|---|---|---|---|---|---|---|---|---|---|"
)


def line(row: Row) -> str:
    shares = [*row.covered.values(), row.kept, row.kept_new]
    cells = [row.size, row.group, row.fleets, *(f"{100 * s:.1f}" for s in shares)]
    return f"| {' | '.join(map(str, cells))} | {row.width_scale:.2f} | {row.width_shape:.2f} |"


def table(truth: Truth, wanted: int) -> list[str]:
    found = [measure(size, group, wanted, truth) for size in SIZES for group in GROUPS]
    return [HEAD, *(line(row) for row in found if row)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fleets", type=int, default=2000)
    wanted = parser.parse_args().fleets
    words = [f"Ranges that should hold the truth in {COVERED:.0%} of fleets, %.", ""]
    words += table(PLAIN, wanted)
    for truth in OTHERS:
        words += ["", truth.name, "", *table(truth, wanted // 4)]
    words += ["", f"All figures of a fleet of 100: {one_fleet_ms():.1f} ms."]
    print("\n".join(words))  # noqa: T201


if __name__ == "__main__":
    main()
