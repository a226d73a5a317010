"""
What the description has promised, in few words: operations, fields, words, and what is required.

    python -m tests.shared.published     # after something was added: write the promise anew

`published_api.json` is the promise; `test_published.py` compares it with the description of this
code, which may only grow.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

FILE = Path(__file__).with_name("published_api.json")
METHODS = ("get", "post", "put", "patch", "delete")
Promise = dict[str, dict[str, str]]


def promised(description: dict[str, Any]) -> Promise:
    """Return one line for each field of each operation and schema, with its kinds."""
    found: Promise = {}
    for path, operations in description["paths"].items():
        for method in METHODS:
            if operation := operations.get(method):
                found[f"{method.upper()} {path}"] = dict(_operation(operation))
    for name, schema in description["components"]["schemas"].items():
        found[name] = dict(sorted(_fields(schema, "")))
    return found


def _operation(operation: dict[str, Any]) -> Iterator[tuple[str, str]]:
    for row in operation.get("parameters", ()):
        yield f"{row['in']} {row['name']}", _said(row["schema"], row.get("required", False))
    kinds = operation.get("requestBody", {}).get("content", {})
    for kind, body in kinds.items():
        if len(kinds) > 1 and kind == "application/xml":
            yield f"sent {kind}", _said(body["schema"], False)  # in the place of JSON
        else:
            yield from _fields(body["schema"], f"sent {kind} ")
    for status, answer in operation["responses"].items():
        if status.startswith("2"):
            yield f"answer {status}", "-"
            for body in answer.get("content", {}).values():
                yield from _fields(body["schema"], f"answer {status} ")


def _fields(schema: dict[str, Any], before: str) -> Iterator[tuple[str, str]]:
    """Yield every member at any depth; a named schema is told where it stands itself."""
    if "properties" not in schema and "items" not in schema:
        yield before.strip() or "-", _said(schema, True)
    needed = set(schema.get("required", ()))
    for name, inner in schema.get("properties", {}).items():
        yield f"{before}.{name}", _said(inner, name in needed)
        if {"properties", "items"} & inner.keys():
            yield from _fields(inner, f"{before}.{name}")
    if isinstance(schema.get("items"), dict):
        yield from _fields(schema["items"], f"{before}[]")
    for one in (*schema.get("oneOf", ()), *schema.get("anyOf", ())):
        if "properties" in one:
            yield from _fields(one, before)


def _said(schema: dict[str, Any], required: bool) -> str:
    kinds = sorted(_kinds(schema))
    return ("! " if required else "? ") + " | ".join(kinds)


def _kinds(schema: dict[str, Any]) -> set[str]:
    if "$ref" in schema:
        return {schema["$ref"].rpartition("/")[2]}
    if words := schema.get("enum"):
        return {json.dumps(word) for word in words}
    if several := [*schema.get("allOf", ()), *schema.get("anyOf", ()), *schema.get("oneOf", ())]:
        return set().union(*(_kinds(one) for one in several))
    kind = schema.get("type", "any")
    return {kind} if isinstance(kind, str) else set(kind)


def broken(old: Promise, new: Promise) -> Iterator[str]:
    """Yield every promise that is not kept any more."""
    for place, fields in old.items():
        if place not in new:
            yield f"{place} is gone"
            continue
        sent = is_sent(place)
        for field, was in fields.items():
            now = new[place].get(field)
            if now is None:
                yield f"{place}: {field or 'it'} is gone"
            else:
                yield from (
                    f"{place}: {field} {what}" for what in _narrower(was, now, sent, field)
                )
        added = new[place].keys() - fields.keys()
        for field in added:
            within_another = any(field != other and field.startswith(other) for other in added)
            must = new[place][field].startswith("!") and not within_another
            if must and (sent or field.startswith(SENT)):
                yield f"{place}: {field} is new and must be sent"


SENT = ("sent ", "query ", "header ", "path ")


def is_sent(place: str) -> bool:
    """Tell whether a named schema is one of what callers send."""
    return place.endswith("Request")


def _narrower(was: str, now: str, sent: bool, field: str) -> Iterator[str]:
    kinds, fewer = set(was[2:].split(" | ")), set(now[2:].split(" | "))
    if lost := kinds - fewer:
        yield f"lost {', '.join(sorted(lost))}"
    if sent or field.startswith(SENT):
        if was.startswith("?") and now.startswith("!"):
            yield "must be sent now"
    elif was.startswith("!") and now.startswith("?"):
        yield "may be left out now"
    elif "null" in fewer - kinds:
        yield "may be null now"


def described() -> dict[str, Any]:
    """Return the description of this code."""
    from drf_spectacular.generators import SchemaGenerator
    from drf_spectacular.renderers import OpenApiJsonRenderer

    found = SchemaGenerator(api_version=None).get_schema(request=None, public=True)
    plain: dict[str, Any] = json.loads(OpenApiJsonRenderer().render(found))
    return plain


def write() -> int:
    """Write the promise anew; name what it breaks, and end with 1 where there is such."""
    import django

    django.setup()
    new = promised(described())
    old: Promise = json.loads(FILE.read_text(encoding="utf-8")) if FILE.exists() else {}
    lost = list(broken(old, new))
    print("\n".join(lost) or "It only grows.")  # noqa: T201
    lines = [f"{json.dumps(name)}: {json.dumps(new[name])}" for name in sorted(new)]
    FILE.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")
    return 1 if lost else 0


if __name__ == "__main__":
    import os

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shared.config.settings.test")
    sys.exit(write())
