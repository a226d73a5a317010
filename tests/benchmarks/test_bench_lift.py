"""The lift benchmark's targets, as a test that is run on request."""

import pytest

from tests.benchmarks.bench_lift import LEAST_RATIO, LIFT_MS, SEARCH_MS, measure


@pytest.mark.benchmark_run
def test_lift_and_search_keep_their_time_and_beat_a_plain_bdf():
    found = measure()
    assert found["peak_c"] == pytest.approx(found["plain_peak_c"], abs=0.05)
    assert found["ratio"] >= LEAST_RATIO
    assert found["lift_ms"] <= LIFT_MS
    assert found["search_ms"] <= SEARCH_MS
