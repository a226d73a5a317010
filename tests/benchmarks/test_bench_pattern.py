"""The promise on a million facets: volume and 100 sections in 5 s and 1 GB, equal to 1e-9."""

import subprocess
import sys

import pytest


@pytest.mark.benchmark_run
def test_a_million_facets_in_five_seconds_and_a_gigabyte():
    command = [sys.executable, "-m", "tests.benchmarks.bench_pattern"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
