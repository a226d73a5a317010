"""Read the published instances in `fixtures/benchmarks` into the planner's own models."""

import csv
import re
from pathlib import Path

from planning.core.solver.timing import Activity, Model, Resource

HERE = Path(__file__).parents[2] / "fixtures" / "benchmarks"


def optima(folder: str) -> list[dict[str, str]]:
    """Return the rows of `optima.csv` for one folder."""
    with (HERE / "optima.csv").open(encoding="utf-8") as file:
        return [r for r in csv.DictReader(file) if r["file"].startswith(f"{folder}/")]


def bins(file: str) -> tuple[list[int], int]:
    """Return the sizes and the capacity of a bin packing instance."""
    values = [int(x) for x in (HERE / file).read_text(encoding="utf-8").split()]
    return values[2 : 2 + values[0]], values[1]


def project(file: str) -> Model:
    """Return a PSPLIB project; durations make the lags."""
    lines = (HERE / file).read_text(encoding="utf-8").splitlines()

    def block(title: str, skip: int) -> list[list[int]]:
        at = next(i for i, line in enumerate(lines) if line.startswith(title)) + skip
        rows = []
        while re.match(r"\s*\d", lines[at]):
            rows.append([int(x) for x in lines[at].split()])
            at += 1
        return rows

    follows = block("PRECEDENCE RELATIONS", 2)
    needs = block("REQUESTS/DURATIONS", 3)
    limits = block("RESOURCEAVAILABILITIES", 2)[0]
    activities = [Activity(row[2], tuple(enumerate(row[3:]))) for row in needs]
    lags = [(r[0] - 1, j - 1, activities[r[0] - 1].minutes) for r in follows for j in r[3:]]
    horizon = sum(a.minutes for a in activities)
    return Model(activities, lags, [Resource(c) for c in limits], horizon)


def project_with_lags(file: str) -> Model:
    """Return a ProGen/max project with start-to-start lags."""
    rows = [
        [int(x) for x in re.findall(r"-?\d+", line)]
        for line in (HERE / file).read_text(encoding="utf-8").splitlines()
        if line.strip()
    ]
    count = rows[0][0] + 2
    lags = []
    for row in rows[1 : 1 + count]:
        successors = row[3 : 3 + row[2]]
        lags += [(row[0], j, d) for j, d in zip(successors, row[3 + row[2] :], strict=True)]
    activities = [Activity(r[2], tuple(enumerate(r[3:]))) for r in rows[1 + count : 1 + 2 * count]]
    limits = rows[1 + 2 * count]
    horizon = sum(
        max(a.minutes, *(d for i, _, d in lags if i == n), 0) for n, a in enumerate(activities)
    )
    return Model(activities, lags, [Resource(c) for c in limits], horizon)


def job_shop(file: str) -> Model:
    """Return a job shop; machines are resources of capacity one."""
    text = (HERE / file).read_text(encoding="utf-8")
    rows = [
        [int(x) for x in line.split()]
        for line in text.splitlines()
        if line.strip() and not line.startswith("#")
    ]
    jobs, machines = rows[0]
    activities, lags = [], []
    for row in rows[1 : 1 + jobs]:
        for step in range(machines):
            machine, minutes = row[2 * step], row[2 * step + 1]
            if step:
                before = len(activities) - 1
                lags.append((before, before + 1, activities[before].minutes))
            activities.append(Activity(minutes, ((machine, 1),)))
    horizon = sum(a.minutes for a in activities)
    return Model(activities, lags, [Resource(1)] * machines, horizon)
