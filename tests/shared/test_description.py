"""The API's description: valid by two other judges, complete, and true to what is sent."""

import jsonschema
import pytest
from drf_spectacular.generators import SchemaGenerator
from openapi_spec_validator import OpenAPIV31SpecValidator

from shared.api.roles import NOUNS
from shared.config.webhooks import REMINDER_DUE


@pytest.fixture(scope="module")
def description():
    return SchemaGenerator().get_schema(public=True)


WITHOUT_VERSION = {
    "closed-days",
    "day-changes",
    "expected-temperatures",
    "learned-codes",
    "outages",
    "packs",
    "supplier-closures",
    "shifts",
    "storage-spells",
}
"""Rows of another row's register, each entered and taken out as a whole."""


def test_it_is_valid_openapi_3_1(description):
    assert description["openapi"] == "3.1.0"
    assert list(OpenAPIV31SpecValidator(description).iter_errors()) == []


def operations(description):
    for path, methods in description["paths"].items():
        for method, operation in methods.items():
            if method in ("get", "post", "put", "patch", "delete"):
                yield method, path, operation


def test_every_operation_lists_its_problems(description):
    for method, path, operation in operations(description):
        answers = operation["responses"]
        assert {"400", "401", "403", "404", "429"} <= set(answers), (method, path)
        assert "application/problem+json" in answers["404"]["content"]
        if method != "get":
            assert {"409", "415", "422"} <= set(answers), (method, path)


def test_every_operation_belongs_to_a_noun_of_the_role_table(description):
    for method, path, operation in operations(description):
        assert set(operation["tags"]) <= set(NOUNS), (method, path)


def test_changes_name_the_header_that_guards_them(description):
    for method, path, operation in operations(description):
        name = path.split("/")[3]
        headers = {p["name"] for p in operation.get("parameters", ()) if p["in"] == "header"}
        if method in ("patch", "delete") and name not in WITHOUT_VERSION:
            assert "If-Match" in headers, (method, path)
            assert {"412", "428"} <= set(operation["responses"]), (method, path)


def test_a_reminder_is_posted_as_it_is_described(description):
    body = description["webhooks"]["reminder.due"]["post"]["requestBody"]
    assert body["content"]["application/json"]["schema"] == REMINDER_DUE
    said = {
        "type": "reminder.due",
        "timestamp": "2026-11-25T12:00:00+00:00",
        "data": {"site": "main", "sent_again": False, "escalated": False, "reminders": []},
    }
    jsonschema.validate(said, REMINDER_DUE)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**said, "type": "other"}, REMINDER_DUE)
