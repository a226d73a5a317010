"""Whatever goes wrong below /api/, the answer is an RFC 9457 object."""

import json
from decimal import Decimal

import jsonschema
import pytest
from django.db import IntegrityError
from django.test import Client

from shared.access import actions, views
from shared.api.problems import MEDIA_TYPE, field_problems, plain
from shared.api.schema import PROBLEM
from shared.errors import FieldProblem, Invalid, ShopError


def check(response, status):
    assert response.status_code == status, response.content
    assert response["Content-Type"] == MEDIA_TYPE
    body = json.loads(response.content)
    jsonschema.validate(body, PROBLEM)
    assert body["status"] == status
    assert body["type"].startswith("http://testserver/problems/")
    assert body["request_id"] == response["X-Request-Id"]
    return body


def test_an_address_that_leads_nowhere(client):
    check(client.get("/api/v1/no-such-thing"), 404)
    assert "text/html" in client.get("/no-such-page")["Content-Type"]


def test_a_host_that_is_not_ours_is_refused_and_not_repeated(client):
    answer = client.get("/api/v1/no-such-thing", headers={"host": "elsewhere.example"})
    assert (answer.status_code, answer["Content-Type"]) == (400, MEDIA_TYPE)
    body = answer.json()
    assert (body["type"], body["code"]) == ("/problems/unreadable/", "unreadable")
    assert "elsewhere" not in answer.content.decode()


@pytest.mark.parametrize(
    ("method", "headers", "body", "status", "code"),
    [
        ("post", {}, b"{", 400, "unreadable"),
        ("post", {"content_type": "text/xml"}, b"<a/>", 415, "unsupported_media_type"),
        ("post", {"content_type": "application/x-www-form-urlencoded"}, b"code=x", 415, None),
        ("put", {}, b"{}", 405, "method_not_allowed"),
        ("delete", {}, b"", 405, "method_not_allowed"),
        ("trace", {}, b"", 405, "method_not_allowed"),
        ("get", {"Accept": "text/html"}, b"", 406, "not_acceptable"),
        ("post", {}, b'"' + b"a" * 1_000_001 + b'"', 413, "too_large"),
    ],
)
def test_requests_that_cannot_be_served(api, method, headers, body, status, code):
    caller = api()
    headers = dict(headers)
    kind = headers.pop("content_type", "application/json")
    headers = {"Idempotency-Key": "a-key-for-this-test", **headers}
    response = caller.generic(method.upper(), "/api/v1/sites", body, kind, headers=headers)
    found = check(response, status)
    assert code in (None, found["code"])


def test_a_stranger_is_asked_to_sign_in(api, db):
    response = api(None).get("/api/v1/sites")
    check(response, 401)
    assert response["WWW-Authenticate"] == 'Bearer realm="shop"'


@pytest.mark.parametrize("header", ["Bearer", "Bearer  ", "Basic YTpi", "Bearer shop_wrong"])
def test_a_token_that_opens_nothing(db, header):
    check(Client().get("/api/v1/sites", HTTP_AUTHORIZATION=header), 401)


def test_all_bad_fields_are_named_at_once_with_pointers_into_the_body(api):
    sent = {"code": "b r", "time_zone": "Berlin", "expected_c": "99.55", "nmae": "x", "id": "4"}
    response = api().post("/api/v1/sites", sent)
    body = check(response, 422)
    assert body["code"] == "validation"
    found = {error["pointer"]: error for error in body["errors"]}
    assert set(found) == {"#/nmae", "#/id"}
    assert "is not a field here; fields are code, name" in found["#/nmae"]["detail"]
    del sent["nmae"], sent["id"]
    body = check(api().post("/api/v1/sites", sent), 422)
    found = {error["pointer"]: error for error in body["errors"]}
    assert set(found) == {"#/code", "#/name", "#/time_zone", "#/expected_c"}
    assert found["#/expected_c"]["value"] == "99.55"
    assert found["#/expected_c"]["limit"] == "1"
    assert found["#/time_zone"]["detail"].startswith("time_zone is 'Berlin'; give an IANA name")
    for pointer, error in found.items():
        assert pointer.removeprefix("#/") in error["detail"]


def test_a_rule_of_the_shop_carries_its_facts(api, monkeypatch):
    def refuse(**_):
        raise ShopError("Resin: 4.2 kg needed.", "not_enough_stock", short_kg=Decimal("1.1"))

    monkeypatch.setattr(actions, "add_site", refuse)
    sent = {"code": "x", "name": "X"}
    body = check(api().post("/api/v1/sites", sent), 409)
    assert body["code"] == "not_enough_stock"
    assert body["title"] == "Not enough stock"
    assert body["short_kg"] == "1.1"
    assert body["detail"] == "Resin: 4.2 kg needed."


@pytest.mark.parametrize(
    ("error", "status", "code"),
    [
        (IntegrityError("UNIQUE constraint failed: secret_table.x"), 409, "conflict"),
        (Invalid.one("mass_kg", "too_large", "mass_kg is 9 kg."), 422, "validation"),
        (RuntimeError("secret words of a library"), 500, "internal"),
        (ZeroDivisionError(), 500, "internal"),
    ],
)
def test_a_fault_inside_says_nothing_of_the_inside(api, monkeypatch, error, status, code):
    def fail(self, serializer):
        raise error

    monkeypatch.setattr(views.SiteViewSet, "perform_create", fail)
    caller = api()
    caller.raise_request_exception = False
    body = check(caller.post("/api/v1/sites", {"code": "x", "name": "X"}), status)
    assert body["code"] == code
    assert "secret" not in json.dumps(body)


def test_faults_reach_the_log(api, monkeypatch, caplog):
    def fail(self, serializer):
        raise RuntimeError("a broken part")

    monkeypatch.setattr(views.SiteViewSet, "perform_create", fail)
    caller = api()
    caller.raise_request_exception = False
    caller.post("/api/v1/sites", {"code": "x", "name": "X"})
    assert "a broken part" in caplog.text


def test_nested_errors_point_into_the_body():
    detail = {"items": [{}, {"quantity_kg": ["is too much."]}], "a/b~c": ["no."]}
    sent = {"items": [{}, {"quantity_kg": "412.0"}], "a/b~c": "v"}
    found = list(field_problems(detail, sent))
    assert found == [
        FieldProblem(
            "#/items/1/quantity_kg",
            "invalid",
            "quantity_kg is '412.0': is too much.",
            "412.0",
        ),
        FieldProblem("#/a~1b~0c", "invalid", "a~1b~0c is 'v': no.", "v"),
    ]


def test_a_field_whose_name_is_part_of_another_word_is_named_all_the_same():
    detail = {"pack": ["packs must be whole."], "day": ["day is missing."]}
    packs, day = field_problems(detail, {"pack": "x"})
    assert packs.detail == "pack is 'x': packs must be whole."
    assert day.detail == "day is missing."


def test_secrets_are_not_echoed():
    (found,) = field_problems({"password": ["is too short."]}, {"password": "hunter2"})
    assert "hunter2" not in str(found)


def test_facts_become_plain_json():
    facts = {"short_kg": Decimal("1.10"), "nan": float("nan"), "ids": (1, 2), "n": 3, "t": True}
    assert plain(facts) == {"short_kg": "1.10", "nan": "nan", "ids": [1, 2], "n": 3, "t": True}
