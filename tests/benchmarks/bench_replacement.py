"""
A year of a fleet of 60 tools: when to cast replacements, and what it costs in shots and castings.

Run with ``python -m tests.benchmarks.bench_replacement [--years 20]``. Every tool has an order
book of so many shots a day. Ways to replace are tried on fleets of the same kinds of lives: when
a tool has failed; at a fixed share of the stated life; and as the product proposes, from what the
family has shown by that day. A replacement stands ready a lead time after it was asked for and
waits on its shelf until the old tool has failed. Shots that no tool was there to run are lost.
Lives are Weibull, the stated life is wrong up to two times.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from shop.core.life_posterior import posterior
from shop.core.tool_life import Life

DAYS, TOOLS, FAMILIES = 365, 60, 4
STATED = 200.0
LEAD_DAYS = 18
LOOK_EVERY = 7


@dataclass
class Station:
    """One tool in service, its life to come, and a replacement on order."""

    family: int
    pace: float
    life: float
    done: float = 0.0
    ready_on: int | None = None
    waiting: bool = False
    spare: bool = False
    lost: float = 0.0


@dataclass
class Year:
    """A fleet over a year; `history` is what each family has shown."""

    stations: list[Station]
    draw: Callable[[int], float]
    history: dict[int, list[Life]] = field(default_factory=dict)
    castings: int = 0


When = Callable[[Year, int], list[Station]]
"""Returns the stations for which a replacement is asked for on a day."""


def on_failure(year: Year, day: int) -> list[Station]:
    return []  # `run` asks for one when a tool has failed


def at_share(share: float) -> When:
    def when(year: Year, day: int) -> list[Station]:
        return [s for s in year.stations if s.done >= share * STATED]

    return when


def as_proposed(year: Year, day: int) -> list[Station]:
    """Ask where the shots done with a chance of 90 % do not outlast the lead time."""
    if day % LOOK_EVERY:
        return []
    found = []
    for family in range(FAMILIES):
        rows = [s for s in year.stations if s.family == family]
        running = [Life(s.done, False) for s in rows if s.done > 0 and not s.waiting]
        known = posterior([*year.history.get(family, ()), *running], STATED)
        for station in rows:
            if station.waiting or station.spare or station.ready_on is not None:
                continue
            days = known.shots_left(station.done).kept / station.pace
            if days <= LEAD_DAYS + LOOK_EVERY:
                found.append(station)
    return found


def run(when: When, seed: int) -> Year:
    """Let a year pass; the same seed gives the same lives, whatever the way."""
    rng = np.random.default_rng(seed)
    truths = [
        (STATED * math.exp(rng.uniform(-math.log(2), math.log(2))), rng.uniform(1.2, 4.0))
        for _ in range(FAMILIES)
    ]

    def draw(family: int) -> float:
        median, shape = truths[family]
        return float(median / math.log(2) ** (1 / shape) * lives.weibull(shape))

    stations = []
    lives = np.random.default_rng([seed, 1])
    for n in range(TOOLS):
        family, pace = n % FAMILIES, float(rng.uniform(0.5, 2.0))
        life = draw(family)
        stations.append(Station(family, pace, life, done=life * float(rng.uniform(0, 0.8))))
    year = Year(stations, draw)
    for day in range(DAYS):
        for station in when(year, day):
            _ask(year, station, day)
        for station in stations:
            _one_day(year, station, day)
    return year


def _ask(year: Year, station: Station, day: int) -> None:
    if station.ready_on is None and not station.spare:
        station.ready_on = day + LEAD_DAYS
        year.castings += 1


def _one_day(year: Year, station: Station, day: int) -> None:
    if station.ready_on is not None and day >= station.ready_on:
        station.ready_on, station.spare = None, True
    if station.waiting and station.spare:
        station.life, station.done = year.draw(station.family), 0.0
        station.waiting = station.spare = False
    if station.waiting:
        station.lost += station.pace
        return
    station.done += station.pace
    if station.done >= station.life:
        year.history.setdefault(station.family, []).append(Life(station.life, True))
        station.waiting = True
        _ask(year, station, day)


WAYS: dict[str, When] = {
    "when a tool has failed": on_failure,
    "at half the stated life": at_share(0.5),
    "at 70 % of the stated life": at_share(0.7),
    "at 90 % of the stated life": at_share(0.9),
    "as the product proposes": as_proposed,
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--years", type=int, default=20)
    years = parser.parse_args().years
    print("| replaced | shots lost, % of those wanted | castings a year |\n|---|---|---|")  # noqa: T201
    for name, when in WAYS.items():
        lost, castings = measure(when, years)
        print(f"| {name} | {100 * lost:.1f} | {castings:.0f} |", flush=True)  # noqa: T201


def measure(when: When, years: int) -> tuple[float, float]:
    """Return the share of wanted shots that was lost, and castings a year."""
    lost, castings = [], []
    for seed in range(years):
        year = run(when, seed)
        wanted = DAYS * sum(s.pace for s in year.stations)
        lost.append(sum(s.lost for s in year.stations) / wanted)
        castings.append(year.castings)
    return float(np.mean(lost)), float(np.mean(castings))


if __name__ == "__main__":
    main()
