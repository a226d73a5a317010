"""A measured dimension: its line, its spread, and when it leaves its limits."""

import csv

import numpy as np
import pytest

from shop.core.drift import COVERED, Limits, leaves, trend
from tests.reference_cases import CASES


def norris():
    with (CASES / "norris.csv").open(encoding="utf-8", newline="") as file:
        return [(float(row["x"]), float(row["y"])) for row in csv.DictReader(file)]


def test_the_line_is_the_certified_one_of_a_reference_data_set():
    """NIST/ITL StRD, data set Norris (J. Norris, NIST, calibration of ozone monitors)."""
    found = trend(norris())
    assert found.slope == pytest.approx(1.00211681802045, rel=1e-10)
    assert found.middle - found.slope * found.centre == pytest.approx(-0.262323073774029, rel=1e-8)
    assert found.scatter == pytest.approx(0.884796396144373, rel=1e-8)
    certified = 0.429796848199937e-3  # standard deviation of the slope
    assert found.scatter / found.square**0.5 == pytest.approx(certified, rel=1e-8)
    assert found.drifts


@pytest.mark.parametrize(("count", "slope"), [(3, 0.0), (6, 0.02), (12, -0.01)])
def test_a_further_measurement_lies_in_the_range_in_nine_of_ten_cases(count, slope):
    rng = np.random.default_rng(7 + count)
    x = np.arange(count) * 100.0
    inside, cases = 0, 3000
    for _ in range(cases):
        seen = 5 + slope * x + rng.normal(0, 0.05, count)
        further = 5 + slope * (x[-1] + 150) + rng.normal(0, 0.05)
        told = trend(list(zip(x, seen, strict=True))).at(x[-1] + 150)
        inside += told.low <= further <= told.high
    assert abs(inside / cases - COVERED) < 0.02


def test_too_few_measurements_and_one_place_give_no_line():
    assert trend([]) is None
    assert trend([(0, 1), (1, 2)]) is None
    assert trend([(4, 1), (4, 2), (4, 3)]) is None


def test_steps_of_the_gauge_bound_the_scatter_from_below():
    exact = [(0, 1.0), (1, 1.1), (2, 1.2), (3, 1.3)]
    assert trend(exact).scatter == pytest.approx(0, abs=1e-12)
    assert trend(exact, step=0.1).scatter == pytest.approx(0.1 / 12**0.5)


def test_it_leaves_where_its_range_meets_the_limit_it_runs_towards():
    points = [(0, 10.00), (100, 10.02), (200, 10.03), (300, 10.05)]
    line, limits = trend(points), Limits(9.9, 10.1)
    found = leaves(line, limits, 300, 5000)
    assert 300 < found.earliest < found.expected
    assert line.at(found.earliest).high == pytest.approx(10.1, abs=1e-6)
    assert line.at(found.expected).middle == pytest.approx(10.1, abs=1e-9)
    assert leaves(line, limits, 300, 301) is None
    falling = trend([(x, 20 - value) for x, value in points])
    mirrored = leaves(falling, limits, 300, 5000)
    assert mirrored.earliest == pytest.approx(found.earliest)
    assert leaves(line, Limits(9.9, 10.05), 400, 5000).earliest == 400


def test_what_only_scatters_is_said_to_stay():
    line = trend([(0, 10.0), (1, 10.04), (2, 9.97), (3, 10.02)])
    assert not line.drifts
    assert leaves(line, Limits(9.9, 10.1), 3, 1e6) is None


def test_what_makes_no_sense_is_refused():
    with pytest.raises(ValueError, match="lowest is 2"):
        Limits(2, 1)
    with pytest.raises(ValueError, match="step is -1"):
        trend([], step=-1)
