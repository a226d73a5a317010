"""The one description of the file says of each column what the API's form says of its field."""

import pytest
from rest_framework import serializers

from planning.files.columns import Column
from planning.files.doors import Doors
from planning.files.sheets import SHEETS, SOURCED
from planning.files.sheets_of_work import ORDERS, ROUTES, STEPS, STOCK
from planning.files.special import OWN_DATES, PHASES, STEP_DEFAULTS
from planning.files.writing import described
from shared.api import fields
from shop.materials.models import SYSTEM_VALUES

HOURS = {"monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"}
ELSEWHERE = {
    "People": HOURS,
    "Resin systems": {"source", "other_sources"},
    "Tools": {"under_repair"},
    "Route steps": {"route"},
    "Stock": {"quantity", "unit", "containers", "container", "location", "received_on",
              "opened_on", "state", "state_reason"},
    "Orders": {"held_reason"},
}  # fmt: skip
"""Columns that are no field of the row's own form; `planning.files.special` takes them apart."""
KINDS = {
    "number": fields.DecimalField, "whole": fields.WholeField, "day": fields.DayField,
    "clock": fields.ClockField, "yes": fields.YesNoField, "choice": fields.ChoiceField,
    "words": serializers.ListField, "weekdays": serializers.ListField,
}  # fmt: skip


@pytest.fixture
def forms(own):
    doors = Doors(*own)

    def form_of(sheet):
        form = doors.form(sheet.address)
        if sheet is STEPS:
            return [form.fields["steps"].child]
        if sheet is STOCK:
            return [form.fields["goods"].child]
        if sheet is ORDERS:
            return [form.fields["pours"].child, form]
        return [form]

    return form_of


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda one: one.name)
def test_each_column_is_as_its_field(sheet, forms):
    looked = 0
    for column in sheet.columns:
        # The API takes any word as the kind of place; the file only those there are.
        if column.name in ELSEWHERE.get(sheet.name, ()) or column.name == "place_kind":
            continue
        name = OWN_DATES.get(column.name, column.name) if sheet is ORDERS else column.name
        found = [form.fields[name] for form in forms(sheet) if name in form.fields]
        assert found, f"{column.name} is no field"
        field = found[0] if column.name in OWN_DATES or sheet is STOCK else found[-1]
        assert not field.read_only, column.name
        looked += 1
        if column.kind == "link" and column.name != "route":
            assert isinstance(field, fields.RelatedIdField), column.name
        elif column.kind == "text":
            assert isinstance(field, serializers.CharField), column.name
        elif column.kind in KINDS:
            assert isinstance(field, KINDS[column.kind]), column.name
        if column.kind == "choice":
            # A pattern's mesh comes with the pattern, not in a table.
            known = {one for one in field.choices if one} - {"mesh"}
            assert set(column.choices) == known, column.name
        # What may be left out in the API may be left out in the file, unless a row would not do.
        if field.required:
            assert column.needed or sheet.name == "Shop", column.name
    assert looked > 0


def test_each_field_of_a_form_has_a_column(forms):
    """What a person can enter by REST can be entered by the file too."""
    not_in_files = {
        "site", "id", "etag", "steps", "goods", "pours", "units", "sources", "scan", "containers",
        "code", "time_zone", "is_default", "number", "due_on", "earliest_on", "priority",
        "in_use", "sheet", "shifts", "service_c",
    }  # fmt: skip
    for sheet in SHEETS:
        for form in forms(sheet):
            written = {name for name, field in form.fields.items() if not field.read_only}
            assert written - set(sheet.names) <= not_in_files, sheet.name


def test_what_must_name_its_source_is_the_systems_own_list():
    assert SOURCED == SYSTEM_VALUES


def test_phases_and_defaults_of_steps_are_those_of_the_form(forms):
    [form] = forms(STEPS)
    assert list(PHASES) == list(form.fields["phase"].choices)
    assert set(STEP_DEFAULTS) <= set(form.fields)
    assert ROUTES.column("kind").choices == ("matched", "single")


def test_every_column_is_described_in_words():
    rows = list(described())
    assert len(rows) == len(SHEETS) + sum(len(sheet.columns) for sheet in SHEETS)
    assert all(about for *_, about in rows)
    assert isinstance(SHEETS[0].columns[0], Column)
