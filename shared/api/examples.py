"""Examples of bodies and answers, each sent by a test and answered to it, by operation."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

FILE = Path(__file__).with_name("examples.json")
JSON, XML = "application/json", "application/xml"


@cache
def sent_examples() -> dict[str, dict[str, Any]]:
    """Return `body` and, by status, `answer` of each operation that has an example."""
    found: dict[str, dict[str, Any]] = json.loads(FILE.read_text(encoding="utf-8"))
    return found


def add(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """Give operations their examples."""
    known = sent_examples()
    for operations in result["paths"].values():
        for operation in operations.values():
            if told := known.get(operation.get("operationId", "")):
                _add(operation, told)
    return result


def _add(operation: dict[str, Any], told: dict[str, Any]) -> None:
    body = operation.get("requestBody", {}).get("content", {})
    if "body" in told:
        for name, kind in body.items():
            if name == XML:
                continue  # a document in the place of JSON
            kind["examples"] = {"sent": {"value": told["body"]}}
    for status, value in told.get("answer", {}).items():
        content = operation["responses"].get(status, {}).get("content", {})
        if JSON in content:
            content[JSON]["examples"] = {"answered": {"value": value}}
