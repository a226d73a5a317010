"""A week of a small shop, played day by day: the shortened form of `bench_year`."""

from datetime import date

import pytest

from tests.benchmarks.year.run import Year


@pytest.mark.django_db
def test_a_week_played_day_by_day_holds_by_its_own_record():
    year = Year(date(2026, 11, 30), seed=1, pours_a_week=12, seconds=1.0)
    tally = year.run(weeks=1)
    assert tally.plans >= 5
    assert tally.faults == []
    assert year.floor.tally["pours done"] >= 3
    assert year.events.tally["pours ordered"] >= 8
