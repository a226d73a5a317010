"""
Answers of the API judged by its description, closed: no member that it does not name.

The published description is open, so that members can be added; here each object may hold what is
described and nothing else, and every answer that a test of the API gets is held against it.
"""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Iterator
from functools import cache
from typing import Any

import jsonschema_rs

NAMED = re.compile(r'"#/components/schemas/([^"/]+)"')
FAULT = 500
"""Answers to a fault of the service are not described; tests provoke some on purpose."""


def closed(description: dict[str, Any]) -> dict[str, Any]:
    """Return the description with every object of an answer closed that names its members."""
    found = copy.deepcopy(description)
    for name, schema in found["components"]["schemas"].items():
        # Each kind of error adds the facts it is about; what is sent is judged by the service.
        if name != "Problem" and not name.endswith("Request"):
            _close(schema)
    for operations in found["paths"].values():
        for operation in operations.values():
            _close(operation.get("responses"))
    return found


def _close(node: Any) -> None:
    if isinstance(node, list):
        for member in node:
            _close(member)
    if not isinstance(node, dict):
        return
    if node.get("type") in ("object", ["object", "null"]) and "properties" in node:
        node.setdefault("additionalProperties", False)
    for key, member in node.items():
        if key not in ("example", "examples", "enum", "default"):
            _close(member)


@cache
def described() -> dict[str, Any]:
    """Return the description of this very code, closed."""
    from drf_spectacular.generators import SchemaGenerator

    return closed(SchemaGenerator(api_version=None).get_schema(request=None, public=True))


@cache
def _addresses() -> list[tuple[re.Pattern[str], str]]:
    found = []
    for path in sorted(described()["paths"], key=lambda p: p.count("{")):
        found.append((re.compile(re.sub(r"\\{\w+\\}", "[^/]+", re.escape(path))), path))
    return found


@cache
def _template_of(address: str) -> str | None:
    for pattern, path in _addresses():
        if pattern.fullmatch(address):
            return path
    return None


@cache
def _judge(path: str, method: str, status: str, kind: str) -> Any:
    answer = described()["paths"][path][method]["responses"].get(status)
    if answer is None:
        return None
    schema = answer.get("content", {}).get(kind, {}).get("schema")
    if schema is None:
        return None
    whole = {**schema, "components": {"schemas": _named_in(schema)}}
    return jsonschema_rs.validator_for(whole, validate_formats=True)


def _named_in(schema: Any) -> dict[str, Any]:
    """Return what a schema names, and what that names: all of them for each answer take GBs."""
    every = described()["components"]["schemas"]
    found: dict[str, Any] = {}
    waiting = [schema]
    while waiting:
        for name in NAMED.findall(json.dumps(waiting.pop())):
            if name not in found:
                found[name] = every[name]
                waiting.append(every[name])
    return found


def faults(address: str, method: str, status: int, kind: str, body: Any) -> Iterator[str]:
    """Yield what the description does not say of an answer; nothing for addresses outside it."""
    path = _template_of(address)
    if path is None or method.lower() not in described()["paths"][path]:
        return
    judge = _judge(path, method.lower(), str(status), kind)
    if judge is None:
        yield f"{method} {path} answers {status} {kind}, which is not described"
        return
    for error in judge.iter_errors(body):
        where = "/".join(str(step) for step in error.instance_path)
        yield f"{method} {path} {status} at #/{where}: {error.message[:300]}"


def check(method: str, address: str, query: str, status: int, kind: str, content: bytes) -> None:
    """Fail when a JSON answer is not what the description says; `fields` leaves members out."""
    kind = kind.partition(";")[0]
    if "json" not in kind or status == FAULT or "fields=" in query:
        return
    found = list(faults(address, method, status, kind, json.loads(content)))
    assert not found, "\n".join(found)


def check_answer(asked: dict[str, Any], response: Any) -> None:
    """Judge an answer to a test client."""
    kind = response.headers.get("Content-Type", "")
    if "json" in kind:
        query, path = asked.get("QUERY_STRING", ""), asked["PATH_INFO"]
        method, status = asked["REQUEST_METHOD"], response.status_code
        check(method, path, query, status, kind, response.content)
