"""Published projects and job shops, solved by the planner's own scheduling layer."""

import pytest

from planning.core.solver.timing import Activity, Model, Resource, Target, breaches
from tests.benchmarks import instances

READERS = {
    "rcpsp": instances.project,
    "rcpsp_max": instances.project_with_lags,
    "job_shop": instances.job_shop,
}
LONG = {"job_shop/abz5.jss", "job_shop/orb01.jss"}
"""Ten machines: the first took 20 s, the second no proof in 90 s, on two idle cores."""
ROWS = [
    pytest.param(folder, row, id=row["file"])
    for folder in READERS
    for row in instances.optima(folder)
    if row["file"] not in LONG
]


@pytest.mark.parametrize(("folder", "row"), ROWS)
def test_the_optimum_is_found_and_proven(folder, row):
    model = READERS[folder](row["file"])
    found = model.solve(seconds=900)
    assert found.proven
    if row["status"] == "infeasible":
        assert found.infeasible
        return
    assert found.value == int(row["best_known"])
    assert breaches(model, found.starts) == []


def test_a_schedule_that_breaks_a_lag_or_a_capacity_is_named():
    model = Model([Activity(3, ((0, 1),)), Activity(2, ((0, 1),))], [(0, 1, 3)], [Resource(1)], 9)
    assert breaches(model, [0, 2]) == ["1 starts 2 after 0, not 3", "resource 0 is used 2 at 2"]
    assert breaches(model, [0, 3]) == []


def test_work_waits_for_a_resource_that_is_away_and_lateness_is_weighed():
    model = Model(
        [Activity(2, ((0, 1),)), Activity(2, ((0, 1),))],
        [],
        [Resource(1, away=((0, 5, 1),))],
        50,
        [Target(0, 5, 1), Target(1, 5, 3)],
    )
    found = model.solve(seconds=10)
    assert (found.starts, found.value, found.bound) == ((7, 5), 2, 2)
