"""
What the tests of any input tell schemathesis about this API, so that bodies are really judged.

A generator knows of no rows and repeats itself. Left alone, every POST after the first would end
in "this Idempotency-Key belongs to another request", every PATCH in "If-Match is missing", and
most links in "not the id of anything here". Only what was made to be valid is touched; whatever
was made invalid, and the first use of every value, is sent as it was generated.
"""

from __future__ import annotations

import atexit
import itertools
import json
import os
from collections import Counter, defaultdict
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import schemathesis
from schemathesis.core.parameters import ParameterLocation

from tests.closed import closed

ROWS_THAT_EXIST = {"17": "1", "main": "DEMO"}
"""The description's examples of an id and of a site, and what the demo shop has instead."""
EXAMPLES_OF_FORMATS = {
    "date": "2000-01-03",
    "date-time": f"{datetime.now(UTC) - timedelta(hours=2):%Y-%m-%dT%H:%M:%SZ}",
    "time": "07:30:00",
}
EXAMPLES_BY_NAME = {
    "checks": [],
    "confirmed": True,
    "counterpart": "other:training",
    "day": f"{datetime.now(UTC) + timedelta(days=2):%Y-%m-%d}",
    "due_on": f"{datetime.now(UTC) + timedelta(days=30):%Y-%m-%d}",
    "earliest_on": f"{datetime.now(UTC):%Y-%m-%d}",
    "ends": "16:30:00",
    "ends_at": f"{datetime.now(UTC) - timedelta(hours=1):%Y-%m-%dT%H:%M:%SZ}",
    "expires_on": f"{datetime.now(UTC) + timedelta(days=200):%Y-%m-%d}",
    "highest_c": "30",
    "kind": "note",
    "lowest_c": "10",
    "made_on": f"{datetime.now(UTC) - timedelta(days=20):%Y-%m-%d}",
    "materials": [],
    "mean_c": "20",
    "received_at": f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}",
    "route": "single",
    "scale": "S2",
    "set_c": "40",
    "time_zone": "Europe/Berlin",
    "units": {},
    "url": "https://hooks.example/events",
    "until_day": f"{datetime.now(UTC) + timedelta(days=3):%Y-%m-%d}",
    "valid_from": f"{datetime.now(UTC):%Y-%m-%d}",
    "week": "2026-W49",
}
SITES = "/api/v1/sites/{id}"
"""
Here a change is tried as merge patch too; one reader serves both kinds at all addresses. The
site keeps its code, which other bodies name.
"""
PEAKS = "/api/v1/cures/{id}/peaks"
"""A peak is seen while a casting cures, so a cure that still runs is named here."""
CORRECTIONS = "/api/v1/tool-events/{id}/corrections"
"""Only shots run can be corrected, so a run is named here."""
WITHDRAWALS = "/api/v1/tool-events/{id}/withdrawals"
"""Runs are corrected and not withdrawn, so a note is named here; it can be withdrawn once."""
CHECKPOINTS = "/api/v1/checkpoints"
"""A line of a checklist is of a tool or a family; without a unit it has no tolerance."""
OF_MEASURED = {"family", "unit", "nominal", "may_be_below", "may_be_above"}
RECALLS = "/api/v1/recalls"
"""Here a lot is named, or a material with a code, not both."""
COMPONENTS = "/api/v1/system-components"
"""
Here a system that no work is planned with is named, and a filler. What is taken out is gone, and
a system has a material once, so the first part is changed, others are taken out, and each new one
goes into a system of its own.
"""
CLASHES = "/api/v1/release-clashes"
"""Here two release agents are named that are not entered as a pair yet."""
TAKEN_OUT = {f"{COMPONENTS}/{{id}}", f"{CLASHES}/{{id}}"}
_numbers = itertools.count(1)
_spare = itertools.count(2)
_unfilled = itertools.count()
_pairs = itertools.count()
_keys: set[str] = set()
_codes: set[tuple[str, str]] = set()
_answers: dict[str, Counter[str]] = defaultdict(Counter)


@schemathesis.hook
def before_load_schema(context: Any, raw_schema: dict[str, Any]) -> None:
    """Close what is answered, give examples that fit the shop, one kind of body a change."""
    raw_schema.update(closed(raw_schema))
    _give_examples(raw_schema)
    for path, operations in raw_schema["paths"].items():
        kinds = operations.get("patch", {}).get("requestBody", {}).get("content", {})
        if path != SITES:
            kinds.pop("application/merge-patch+json", None)
        # Documents that are taken in place of JSON are told as a text; other tests send them.
        operations.get("post", {}).get("requestBody", {}).get("content", {}).pop(
            "application/xml", None
        )


def _give_examples(node: Any) -> None:
    if isinstance(node, list):
        for member in node:
            _give_examples(member)
    if not isinstance(node, dict):
        return
    if str(node.get("example")) in ROWS_THAT_EXIST:
        node["example"] = ROWS_THAT_EXIST[node["example"]]
    if node.get("format") in EXAMPLES_OF_FORMATS:
        node.setdefault("example", EXAMPLES_OF_FORMATS[node["format"]])
    if {"type": "number"} in node.get("anyOf", ()):
        node.setdefault("example", "1")
    for key, member in node.items():
        if key == "properties":
            for field, schema in member.items():
                _name_example(field, schema)
                _give_examples(schema)
        elif key not in ("example", "enum"):
            _give_examples(member)


def _name_example(field: str, schema: dict[str, Any]) -> None:
    example = EXAMPLES_BY_NAME.get(field)
    fits = example in schema["enum"] if "enum" in schema else "$ref" not in schema
    if example is not None and fits:
        schema["example"] = example


@schemathesis.hook
def before_call(context: Any, case: Any, **kwargs: Any) -> None:
    """Send a fresh key, any version, and a code nobody has used, unless these are under test."""
    if not case.meta.is_negative_at(ParameterLocation.HEADER):
        if "If-Match" in case.headers:
            case.headers["If-Match"] = "*"
        key = case.headers.get("Idempotency-Key")
        if key in _keys:
            case.headers["Idempotency-Key"] = f"any-input-{next(_numbers):09d}"
        elif key is not None:
            _keys.add(key)
    if case.path == SITES and not case.meta.is_negative_at(ParameterLocation.PATH):
        case.path_parameters["id"] = ROWS_THAT_EXIST["17"]
    if case.path == PEAKS and not case.meta.is_negative_at(ParameterLocation.PATH):
        case.path_parameters["id"] = os.environ["RUNNING_CURE"]
    if case.path == CORRECTIONS and not case.meta.is_negative_at(ParameterLocation.PATH):
        case.path_parameters["id"] = os.environ["RUN_OF_SHOTS"]
    if case.path == WITHDRAWALS and not case.meta.is_negative_at(ParameterLocation.PATH):
        case.path_parameters["id"] = os.environ["A_NOTE"]
    body_is_valid = not case.meta.is_negative_at(ParameterLocation.BODY)
    if case.path == CHECKPOINTS and body_is_valid and isinstance(case.body, dict):
        case.body = {name: value for name, value in case.body.items() if name not in OF_MEASURED}
        case.body["tool"] = ROWS_THAT_EXIST["17"]
    if case.path == RECALLS and body_is_valid and isinstance(case.body, dict):
        other = () if "lot" not in case.body else ("material", "lot_code")
        case.body = {name: value for name, value in case.body.items() if name not in other}
    if case.path.startswith(COMPONENTS) and body_is_valid and isinstance(case.body, dict):
        if case.method == "POST" and "system" in case.body:
            case.body["system"] = str(int(os.environ["FILLED"]) + 20 + next(_unfilled) % 20)
        if "material" in case.body:
            case.body["material"] = os.environ["FILLED"]
    takes_out = case.path in TAKEN_OUT and case.method == "DELETE"
    if takes_out and not case.meta.is_negative_at(ParameterLocation.PATH):
        case.path_parameters["id"] = str(next(_spare))
    if case.path.startswith(CLASHES) and body_is_valid and isinstance(case.body, dict):
        first = int(os.environ["AGENTS"]) + next(_pairs) % 58
        pair = {"first": str(first), "second": str(first + 2)}
        case.body.update({name: pair[name] for name in pair.keys() & case.body.keys()})
    code = case.body.get("code") if isinstance(case.body, dict) else None
    if isinstance(code, str) and not case.meta.is_negative_at(ParameterLocation.BODY):
        if case.path == SITES:
            case.body["code"] = ROWS_THAT_EXIST["main"]
        elif (case.path, code) in _codes:
            case.body["code"] = f"N{next(_numbers)}"
        _codes.add((case.path, code))


@schemathesis.hook
def after_call(context: Any, case: Any, response: Any) -> None:
    """Count the answers of each operation by status and code."""
    if case.method.upper() == case.operation.method.upper():
        told = ""
        if response.status_code >= 400 and "json" in str(response.headers.get("content-type")):
            told = response.json().get("code", "")
        _answers[case.operation.label][f"{response.status_code} {told}".strip()] += 1


@atexit.register
def _write_answers() -> None:
    if path := os.environ.get("ANSWERS_PATH"):
        Path(path).write_text(json.dumps(_answers))
