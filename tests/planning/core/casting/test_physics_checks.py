"""
Rows of the physics reference cases against this project's own functions.

Each row carries its source and says how its value was obtained; a failure prints both. A row is
met within its own tolerance plus half a unit of the last digit it is printed with. Rows about
shapes, drafts and lifts are asserted with those; rows that do not apply stand in
`tests/test_reference_rows.py`.
"""

import pytest

from tests.planning.core.casting.reference_rows import COMPUTED, NOT_COMPUTED
from tests.reference_cases import params, rows

FILE = "physics_checks.csv"
CHECKED = [c.id for c in rows(FILE) if c.topic in COMPUTED and c.id not in NOT_COMPUTED]


@pytest.mark.parametrize("case", params(FILE, *CHECKED))
def test_row_is_reproduced_within_its_tolerance(case):
    case.near(COMPUTED[case.topic](case.inputs))


def test_no_fewer_rows_are_computed_than_before():
    assert len(CHECKED) == 145
