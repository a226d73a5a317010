"""
Clocks against random lifts whose truth another solver knows: a shortened run of the benchmark.

The whole of it, 400 lifts for each way, is `tests/benchmarks/bench_clock.py`; its table lies in
`tests/benchmarks/results/clock.md`.
"""

import statistics
from dataclasses import replace

import numpy as np
import pytest

from planning.core.casting.casting_clock import clocks_of
from tests.benchmarks.bench_clock import MODEL, SHEET, SPREADS, asked, early_by, one_lift, sheet_h
from tests.benchmarks.records import KINDS, random_record
from tests.benchmarks.true_lifts import random_truth


def outcome(way, seeds):
    """Hours early beyond 10 min or 2 %, as shares of the truth, and lateness of each lift."""
    rows = [one_lift(way, seed) for seed in seeds]
    assert all(row["opened_h"] is not None for row in rows)
    early = [early_by(row["opened_h"], row["true_h"]) / row["true_h"] for row in rows]
    return early, [row["opened_h"] / row["true_h"] - 1 for row in rows], rows


@pytest.mark.parametrize(("way", "seeds", "most_early"), [
    ("calibrated", range(500, 505), 0),
    ("data sheet", range(520, 524), 1),
    ("no kinetics", range(540, 560), 1),
])  # fmt: skip
def test_random_lifts_are_not_opened_early(way, seeds, most_early):
    early, late, rows = outcome(way, seeds)
    assert sum(share > 0 for share in early) <= most_early
    assert max(early) <= 0.25
    if way == "no kinetics":
        assert all(row["opened_h"] >= row["sheet_h"] for row in rows)
    else:  # a data sheet's time of a thin layer is late for any that heats itself
        assert statistics.median(late) < 0.5
    seconds = sorted(s for row in rows for s in row["seconds"])
    assert statistics.median(seconds) < 0.5


@pytest.mark.parametrize("seed", [560, 563, 564])
def test_kinetics_open_nothing_before_the_printed_time_in_what_was_logged(seed):
    rng = np.random.default_rng([2026, seed])
    truth = random_truth(rng, *SPREADS["data sheet"])
    record = random_record(rng, truth, KINDS[seed % len(KINDS)])
    both = replace(MODEL, datasheet=SHEET.datasheet)
    for share in (0.5, 0.9, 1.2):
        lift = asked(truth, record, "data sheet", share * truth.demould_h)
        told = clocks_of(replace(lift, system=both)).cured.go_h
        so_far = replace(record, readings=lift.readings)
        assert told is None or told >= sheet_h(truth, so_far)
