"""
Every row of the reference tables is asserted by a test, or stands here with the reason why not.

The rows of `measured_cure.csv` have their own list beside the checks that assert them
(`tests/planning/core/casting/test_measured_cure.py`).
"""

import hashlib
import importlib
from pathlib import Path

import pytest

from tests.benchmarks.instances import optima
from tests.reference_cases import ASSERTED, CASES, FILES, rows

FOLDERS = ("bin_packing", "rcpsp", "rcpsp_max", "job_shop")
RECEIVER = "the receiver's side: the product signs webhooks, it verifies none"

LEFT_OUT = {
    "physics_checks.csv": {
        "P062": "the product states no viscosity",
        **dict.fromkeys(
            ("P158", "P159", "P160", "P161"),
            "the parameters of the quick invented system are not recorded with its rows",
        ),
    },
    "planning_checks.csv": {
        "eew_blend": "the shop blends no resins; it takes the equivalent weight as bought",
    },
    "interchange_checks.csv": {
        "WH-02": RECEIVER,
        "WH-03": f"{RECEIVER}; a secret is replaced at once, so there is one signature",
        "WH-04": RECEIVER,
        "WH-05": RECEIVER,
        "IC-01": "the product writes calendars and reads none",
        "IC-06": "no duration that the product reads can be negative; such a one is refused",
        "PD-01": "the product writes problem details and reads none",
        "PD-02": "the product writes problem details and reads none",
        "CSV-04": "spaces around the code of a material or lot are a slip of the hand here, and "
                  "are taken off",
        "TM-03": "a leap second is refused: the clock that moments are kept by has none",
        "TM-07": "fractions of hours are refused; half an hour is written PT30M",
        "TM-13": "nothing is due so many days after an hour of the clock: cures take hours, and "
                 "days begin at midnight",
        "HT-03": "no address of the API is deprecated; no such header is sent",
        "HT-04": "no address of the API has an end; no such header is sent",
        "HT-05": "no address of the API has an end; no such header is sent",
        "HT-07": "a key without quotes is accepted as the same key as the quoted one, as the row "
                 "allows (asserted in test_idempotency.py)",
    },
    "stock_checks.csv": {},
    "tool_life_checks.csv": {},
}  # fmt: skip

HARD = "masses hardly alike, a fifth to a third of a bin each: within 20 s it packs 59 or 60 bins"
NOT_SOLVED = {
    **dict.fromkeys(
        (f"bin_packing/HARD{n}.bpp" for n in range(0, 10, 2)),
        f"{HARD} where 56 or 57 are best",
    ),
    "job_shop/orb01.jss": "ten machines: no proof within 90 s on two idle cores",
}  # fmt: skip
"""Published instances that no test solves, and why."""

DIGESTS = {
    "physics_checks.csv": (162, "4befc57326e2bdc4"),
    "planning_checks.csv": (53, "e47e9c36d788e46b"),
    "interchange_checks.csv": (115, "4b958a57595e087a"),
    "stock_checks.csv": (44, "f9f6274772cdf33e"),
    "tool_life_checks.csv": (27, "5dd67dea2f5cdf9e"),
}
"""How many rows a table has, and the first figures of its SHA-256."""
OTHER_DIGESTS = {
    "reference/cases/measured_cure.csv": "509a92e051b8887d",
    "reference/cases/waltons.csv": "15de145fab466318",
    "reference/cases/norris.csv": "74ad6373719fea7b",
    "benchmarks/optima.csv": "5f79177a7691fd2f",
    "ubl/unit_codes.csv": "8714f17f38bee298",
}
"""Tables whose rows are asserted by tests of their own; the two data sets as a whole, by what is
published of them."""
FIXTURES = CASES.parents[1]


@pytest.fixture(scope="module")
def asserted():
    """The register, after every module that enters rows has been read."""
    tests = Path(__file__).parent
    for path in sorted(tests.rglob("test_*.py")):
        if path != Path(__file__) and "tests.reference_cases" in path.read_text(encoding="utf-8"):
            name = ".".join(path.relative_to(tests.parent).with_suffix("").parts)
            importlib.import_module(name)
    return ASSERTED


@pytest.mark.parametrize("file", FILES)
def test_every_row_is_asserted_or_left_out_for_a_reason(file, asserted):
    names = [c.id for c in rows(file)]
    left_out = set(LEFT_OUT[file])
    assert len(set(names)) == len(names)
    assert asserted[file] & left_out == set()
    assert asserted[file] | left_out == set(names)
    assert all(LEFT_OUT[file].values())


@pytest.mark.parametrize("file", FILES)
def test_no_row_has_been_dropped_added_or_changed(file):
    digest = hashlib.sha256((CASES / file).read_bytes()).hexdigest()
    assert (len(rows(file)), digest[:16]) == DIGESTS[file]


@pytest.mark.parametrize("file", OTHER_DIGESTS)
def test_no_row_of_another_table_has_been_dropped_added_or_changed(file):
    digest = hashlib.sha256((FIXTURES / file).read_bytes()).hexdigest()
    assert digest[:16] == OTHER_DIGESTS[file]


def test_there_is_no_table_that_nobody_knows_of():
    found = {path.relative_to(FIXTURES).as_posix() for path in FIXTURES.rglob("*.csv")}
    assert found == {f"reference/cases/{file}" for file in FILES} | set(OTHER_DIGESTS)


def test_every_published_instance_is_solved_or_left_out_for_a_reason():
    from tests.planning.core import test_packing_instances, test_scheduling_instances

    listed = [row["file"] for folder in FOLDERS for row in optima(folder)]
    solved = [
        value["file"]
        for module in (test_packing_instances, test_scheduling_instances)
        for param in module.ROWS
        for value in param.values
        if isinstance(value, dict)
    ]
    assert len(set(solved)) == len(solved)
    assert set(solved).isdisjoint(NOT_SOLVED)
    assert set(solved) | set(NOT_SOLVED) == set(listed)
    there = {
        path.relative_to(FIXTURES / "benchmarks").as_posix()
        for folder in FOLDERS
        for path in (FIXTURES / "benchmarks" / folder).iterdir()
    }
    assert there == set(listed)


@pytest.mark.parametrize("file", FILES)
def test_every_row_names_its_source(file):
    assert all(c.source and c.how for c in rows(file))
