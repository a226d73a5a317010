"""
Every row of the physics reference cases against this project's own functions.

Each row carries its source and says how its value was obtained; a failure prints both. A row is
met within its own tolerance plus half a unit of the last digit it is printed with.
"""

import csv
import json
from decimal import Decimal
from pathlib import Path

import pytest

from tests.planning.core.casting.reference_rows import COMPUTED, ELSEWHERE, NOT_COMPUTED

CASES = Path(__file__).parents[4] / "fixtures/reference/cases/physics_checks.csv"
ROWS = list(csv.DictReader(CASES.open(encoding="utf-8")))
CHECKED = [r for r in ROWS if r["topic"] not in ELSEWHERE and r["id"] not in NOT_COMPUTED]


def half_a_last_digit(printed):
    return 0.5 * 10.0 ** Decimal(printed).as_tuple().exponent + 1e-9 if "." in printed else 1e-9


@pytest.mark.parametrize("row", CHECKED, ids=lambda row: f"{row['id']} {row['topic']}")
def test_row_is_reproduced_within_its_tolerance(row):
    got = COMPUTED[row["topic"]](json.loads(row["inputs"]))
    expected = float(row["expected"])
    allowed = float(row["rel_tolerance"]) * abs(expected) + half_a_last_digit(row["expected"])
    assert abs(got - expected) <= allowed, (
        f"{row['id']}: got {got} {row['unit']}, expected {expected} within {allowed:g}. "
        f"Source: {row['source']}. How: {row['how_obtained']}"
    )


def test_every_row_is_checked_or_named_with_its_reason():
    assert len(ROWS) == 162
    assert set(NOT_COMPUTED) <= {row["id"] for row in ROWS}
    assert all(NOT_COMPUTED.values())
    assert {row["topic"] for row in CHECKED} <= set(COMPUTED)
    assert len(CHECKED) == 145
    assert all(row["source"] and row["how_obtained"] for row in ROWS)
