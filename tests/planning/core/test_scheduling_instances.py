"""Published projects and job shops, solved by the planner's own scheduling layer."""

import pytest

from planning.core.solver.timing import Activity, Model, Resource, Target, breaches
from tests.benchmarks import instances
from tests.reference_cases import params, rows

READERS = {
    "rcpsp": instances.project,
    "rcpsp_max": instances.project_with_lags,
    "job_shop": instances.job_shop,
}
ON_REQUEST, UNPROVEN = "job_shop/abz5.jss", "job_shop/orb01.jss"
"""Ten machines: the first took 20 s, the second no proof in 90 s, on two idle cores."""
ROWS = [
    pytest.param(
        folder, row, id=row["file"],
        marks=[pytest.mark.benchmark_run] if row["file"] == ON_REQUEST else [],
    )
    for folder in READERS
    for row in instances.optima(folder)
    if row["file"] != UNPROVEN
]  # fmt: skip


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


FILE = "planning_checks.csv"
TABLED = [
    c.id for c in rows(FILE)
    if c.inputs.get("file", "").startswith(tuple(f"benchmarks/{f}/" for f in READERS))
]  # fmt: skip


@pytest.mark.parametrize("case", params(FILE, *TABLED))
def test_tabled_figures_are_those_of_instances_that_are_solved(case):
    solved = {param.values[1]["file"]: param.values[1] for param in ROWS}
    row = solved[case.inputs["file"].removeprefix("benchmarks/")]
    if case.expected == "infeasible":
        assert row["status"] == "infeasible", case.words
    else:
        assert int(row["best_known"]) == case.expected, case.words


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
