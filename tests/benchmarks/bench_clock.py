"""
Clocks of poured lifts against lifts whose truth is known: how early, how late, how fast.

    python -m tests.benchmarks.bench_clock calibrated 0 400 > calibrated.jsonl
    python -m tests.benchmarks.bench_clock table *.jsonl > tests/benchmarks/results/clock.md

The truth comes from `true_lifts`, the records from `records`. A person looks several times before
the lift is done and at every time announced; a clock that is open at a look is taken at its word.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import numpy as np

from planning.core.casting.casting_clock import clocks_of
from planning.core.casting.clock_types import CastingClocks, OvenStay, PouredLift
from planning.core.casting.faces import AIR_TOP, tool_side
from planning.core.casting.system import (
    Datasheet,
    GlassTransition,
    Kinetics,
    SystemData,
    Thermal,
    TimePoint,
)
from tests.benchmarks.records import KINDS, Record, random_record
from tests.benchmarks.true_lifts import BOND, GEL, NEED, Truth, random_truth

SPREADS = {"calibrated": (0.05, 0.03), "data sheet": (0.15, 0.05), "no kinetics": (0.15, 0.05)}
MODEL = SystemData(
    "Random lifts (invented)",
    kinetics=Kinetics(1.9324e4, 52.0e3, 4599.5, 50.0e3, 1.0, 1.8, 30.0, -0.25, 0.0036),
    thermal=Thermal(1700.0, 1290.0, 0.80, 0.417, 350e3),
    glass=GlassTransition(-20.0, 88.0, 0.45),
    gel_conversion=GEL, bond_conversion=BOND, demould_conversion=NEED,
)  # fmt: skip
SHEET = SystemData(
    "The same by its data sheet (invented)",
    datasheet=Datasheet(demould=TimePoint(60 * 34.85, 23.0), gel=TimePoint(60 * 22.25, 23.0)),
)
"""Times that a thin layer of the nominal resin takes at 23 C to `NEED` and to `GEL`."""
LOOKS = (0.25, 0.5, 0.7, 0.85, 0.95)
MOST_LOOKS = 16
STALL_H = 4.0
LEAST_PEAK_K = 5.0
"""A lift that never gets so far above the room has no peak to wait for."""


def asked(truth: Truth, record: Record, way: str, now_h: float) -> PouredLift:
    """Return what the product is asked at a moment."""
    stays: tuple[OvenStay, ...] = ()
    if truth.oven is not None and now_h >= truth.oven[0]:
        out = truth.oven[1] if now_h >= truth.oven[1] else None
        stays = (OvenStay(truth.oven[0], truth.oven[2], out),)
    return PouredLift(
        SHEET if way == "no kinetics" else MODEL,
        truth.depth_mm, tool_side(truth.base_kind), AIR_TOP, now_h, truth.expected_c,
        tuple(r for r in record.readings if r.hour <= now_h),
        night_c=truth.night_c, mix_c=record.mix_c, stays=stays,
        calibrated=way == "calibrated",
    )  # fmt: skip


def sheet_h(truth: Truth, record: Record, hottest_c: float = 50.0) -> float:
    """
    Return when the printed time to demould has run in the surroundings as they were written down.

    An account of its own: straight between readings of the air, as at the nearest one outside
    them, as expected where there is none; by each of 46 and 73 kJ/mol, the later. In an oven, of
    which the shop writes down when it went in and out and the setting, straight between the
    oven's readings, or its setting where nobody read it. A reading that no room can have, such as
    one typed in Fahrenheit, is none.
    """
    hours = np.arange(0.0, 400.0, 0.05)
    air = [(r.hour, r.celsius) for r in record.readings if r.where == "air"]
    room_c = _straight(hours, [row for row in air if row[1] < hottest_c], truth.expected_c)
    if truth.oven is not None:
        begins, ends, set_c = truth.oven
        own = [(r.hour, r.celsius) for r in record.readings if r.where == "oven"]
        inside = (hours >= begins) & (hours < ends)
        room_c = np.where(inside, _straight(hours, own, set_c), room_c)
    printed = SHEET.datasheet.demould
    latest = 0.0
    for energy in (46e3, 73e3):
        inverse = 1 / (printed.temp_c + 273.15) - 1 / (room_c + 273.15)
        ages = np.cumsum(np.exp(energy / 8.314462618 * inverse)) * 0.05
        latest = max(latest, float(hours[np.searchsorted(ages, printed.minutes / 60)]))
    return latest


def _straight(hours: np.ndarray, rows: list[tuple[float, float]], without: float) -> np.ndarray:
    if not rows:
        return np.full(len(hours), without)
    return np.interp(hours, *zip(*sorted(rows), strict=True))


def early_by(opened_h: float, true_h: float) -> float:
    """Return by how much a clock opened early, h, beyond 10 min or 2 %."""
    short = true_h - opened_h
    return short if short > max(1 / 6, 0.02 * true_h) else 0.0


def watch(truth: Truth, record: Record, way: str) -> dict:
    """Look at a lift until its demould clock opens."""
    looks, spent, opened = [s * truth.demould_h for s in LOOKS], [], None
    early, announced = dict.fromkeys(("peak", "closes", "gelled"), 0.0), None
    now = looks[0]
    for _ in range(MOST_LOOKS):
        lift = asked(truth, record, way, now)
        began = time.process_time()
        clocks = clocks_of(lift)
        spent.append(time.process_time() - began)
        demould = clocks.cured if way == "no kinetics" else clocks.demould
        if truth.oven is None or now >= truth.oven[0]:
            judge(early, clocks, truth, now)
        if demould.is_open(now):
            opened = now
            break
        announced = demould.go_h
        looks = [h for h in looks if h > now]
        later = [*looks[:1], *([announced] if announced is not None else [])]
        now = min((h for h in later if h > now + 1e-9), default=now + STALL_H)
        if announced is None and not looks:
            now = max(now, lift.now_h + STALL_H)
    return {
        "opened_h": opened, "true_h": truth.demould_h, "sheet_h": sheet_h(truth, record),
        "looks": len(spent),
        "seconds": [round(s, 4) for s in spent], "early": early,
    }  # fmt: skip


def tell(line: str) -> None:
    """Write one line of a result."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def judge(early: dict[str, float], clocks: CastingClocks, truth: Truth, now: float) -> None:
    """Note by how much the other clocks err on the unsafe side, h."""
    if clocks.peak.is_open(now) and truth.peak_c > truth.room_c.max() + LEAST_PEAK_K:
        early["peak"] = max(early["peak"], early_by(now, truth.peak_h))
    if clocks.opens.is_open(now):
        early["gelled"] = max(early["gelled"], early_by(now, truth.gelled_h))
    if clocks.closes.go_h is not None and clocks.closes.go_h > now:
        over = clocks.closes.go_h - truth.bonds_h
        if over > max(1 / 6, 0.02 * truth.bonds_h):
            early["closes"] = max(early["closes"], over)


def one_lift(way: str, seed: int) -> dict:
    """Draw the lift and the record of a seed and watch it."""
    rng = np.random.default_rng([2026, seed])
    kind = KINDS[seed % len(KINDS)]
    truth = random_truth(rng, *SPREADS[way])
    while not np.isfinite(truth.demould_h) or truth.peak_c > 160 or truth.demould_h > 110:
        truth = random_truth(rng, *SPREADS[way])
    record = random_record(rng, truth, kind)
    return watch(truth, record, way) | {
        "way": way, "seed": seed, "kind": kind, "few": record.few, "every_h": record.every_h,
        "readings": len(record.readings), "oven": truth.oven is not None,
        "peak_c": round(truth.peak_c, 1), "depth_mm": round(truth.depth_mm),
        "base": truth.base_kind, "rate": round(truth.rate, 3), "top": round(truth.top_film, 1),
    }  # fmt: skip


def run(way: str, first: int, last: int) -> None:
    """Write one line for each lift."""
    for seed in range(first, last):
        tell(json.dumps(one_lift(way, seed)))


def summary(rows: list[dict]) -> list[str]:
    """Return the cells of one line of the table."""
    done = [r for r in rows if r["opened_h"] is not None]
    early = [early_by(r["opened_h"], r["true_h"]) for r in done]
    shares = [e / r["true_h"] for e, r in zip(early, done, strict=True)]
    late = [100 * (r["opened_h"] / r["true_h"] - 1) for r in done]
    times = sorted(s for r in rows for s in r["seconds"])
    hits = sum(e > 0 for e in early)
    return [
        str(len(rows)), f"{hits} ({100 * hits / max(len(rows), 1):.1f} %)",
        f"{max(early, default=0):.1f} h / {100 * max(shares, default=0):.0f} %",
        f"{np.median(late):.0f} ({np.percentile(late, 90):.0f})" if late else "-",
        str(len(rows) - len(done)),
        f"{np.median(times):.2f} / {times[-1]:.2f}",
    ]  # fmt: skip


HEADS = (
    "lifts",
    "early",
    "worst early",
    "late, median (90th), %",
    "never opened",
    "s, median / most",
)


def table(paths: list[str]) -> None:
    """Print the results as a table."""
    rows = [json.loads(line) for p in paths for line in Path(p).read_text().splitlines()]
    tell("| kinetics | record | " + " | ".join(HEADS) + " |")
    tell("|---" * (len(HEADS) + 2) + "|")
    for way in SPREADS:
        own = [r for r in rows if r["way"] == way]
        if not own:
            continue
        tell(f"| **{way}** | all | " + " | ".join(summary(own)) + " |")
        for kind in KINDS:
            part = [r for r in own if r["kind"] == kind]
            if part:
                tell(f"| {way} | {kind} | " + " | ".join(summary(part)) + " |")
        few = [r for r in own if r["few"]]
        if few:
            tell(f"| {way} | one to three readings | " + " | ".join(summary(few)) + " |")
    tell("\n| kinetics | peak told early | next lift before gel | window told too long |")
    tell("|---|---|---|---|")
    for way in SPREADS:
        own = [r for r in rows if r["way"] == way]
        cells = []
        for name in ("peak", "gelled", "closes"):
            hits = [r["early"][name] for r in own if r["early"][name] > 0]
            cells.append(f"{len(hits)} of {len(own)}, worst {max(hits, default=0):.1f} h")
        if own:
            tell(f"| {way} | " + " | ".join(cells) + " |")
    bare = [r for r in rows if r["way"] == "no kinetics" and r["opened_h"] is not None]
    sooner = sum(r["opened_h"] < r["sheet_h"] for r in bare)
    tell(f"\nOpened before the data sheet's time moved by the surroundings written down: {sooner} "
         f"of {len(bare)} without kinetics.")  # fmt: skip


if __name__ == "__main__":
    if sys.argv[1] == "table":
        table(sys.argv[2:])
    else:
        run(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
