"""
Rows of the interchange cases about times, tags, keys and pointers, as the product reads them.

The others are asserted where labels, files, webhooks and calendars are tested; those that do not
apply stand in `tests/test_reference_rows.py` with their reason.
"""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from rest_framework.serializers import ValidationError
from rest_framework.test import APIRequestFactory

from planning.cures.page_forms import TemperatureForm
from shared.api.etags import strong_tags
from shared.api.fields import MomentField
from shared.api.idempotency import read_key
from shared.api.problems import field_problems
from shared.units import parse_duration, parse_week
from tests.reference_cases import params


@pytest.mark.parametrize(
    "case", params("interchange_checks.csv", "TM-01", "TM-02", "TM-04", "TM-05")
)
def test_moment_rows(case):
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
    try:
        found = {"seconds": parse_duration(case.inputs["value"]).total_seconds()}
    except ValueError:
        found = {"error": case.expected.get("error")}
    assert found == case.expected, case.source


def typed_at_a_cure(case, **more):
    """The form of a temperature, with a time typed without its offset at a clock change."""
    sent = {"where": "air", "degrees": "21", "unit": "celsius", "at": case.inputs["local"], **more}
    return TemperatureForm(sent, zone=ZoneInfo(case.inputs["tzid"]))


@pytest.mark.parametrize("case", params("interchange_checks.csv", "IC-08"))
def test_a_local_time_shown_twice_is_asked_about_and_the_first_is_the_standards(case):
    asked = typed_at_a_cure(case)
    assert "the clock shows it twice" in str(asked.errors["at"])
    form = typed_at_a_cure(case, at_which="earlier")
    assert form.is_valid(), form.errors
    found = MomentField().to_representation(form.cleaned_data["at"])
    assert {"utc": found} == case.expected, case.source


@pytest.mark.parametrize("case", params("interchange_checks.csv", "IC-09"))
def test_a_local_time_that_is_skipped_is_refused_where_the_standard_moves_it(case):
    """The standard's moment shows another time on the wall; a person says which was meant."""
    moved = datetime.fromisoformat(case.expected["utc"])
    assert moved.tzinfo is not None
    shown = moved.astimezone(ZoneInfo(case.inputs["tzid"])).replace(tzinfo=None)
    assert shown != datetime.fromisoformat(case.inputs["local"]), case.source
    assert "there is no such time" in str(typed_at_a_cure(case).errors["at"])


@pytest.mark.parametrize("case", params("interchange_checks.csv", "HT-01", "HT-02"))
def test_tags_marked_weak_never_match_a_row(case):
    a, b = (strong_tags(case.inputs[name]) for name in "ab")
    assert bool(a & b) is case.expected["strong"], case.source


@pytest.mark.parametrize("case", params("interchange_checks.csv", "HT-06"))
def test_quoted_key_row(case):
    asked = APIRequestFactory().post("/", headers={"Idempotency-Key": case.inputs["value"]})
    assert {"key": read_key(asked)} == case.expected, case.source


POINTERS = {
    "PD-03": {"profile": {"color": ["is not a colour."]}},
    "PD-04": {"items": [{}, {"quantity_kg": ["is less than 0."]}]},
    "PD-05": {"a/b": ["is too little."]},
}


@pytest.mark.parametrize("case", params("interchange_checks.csv", *POINTERS))
def test_pointers_lead_to_the_value_that_was_refused(case):
    body = case.inputs["request_body"]
    (found,) = field_problems(POINTERS[case.id], body)
    assert found.pointer == case.inputs["pointer"], case.source
    assert found.value == str(case.expected["value"])  # values are answered as text
