"""The part of the API's description that an ordering system uses, with all it refers to."""

from __future__ import annotations

import re
from typing import Any

NOUNS = {
    "tool_orders", "purchases", "approvals", "movements", "events", "webhooks", "accounts",
    "materials",
}  # fmt: skip
"""Tags of the operations that the two stories call."""
METHODS = ("get", "post", "patch", "delete")


def cut(description: dict[str, Any], nouns: set[str] = NOUNS) -> dict[str, Any]:
    """Return the description with the operations of some nouns, and the schemas these name."""
    paths: dict[str, Any] = {}
    for path, operations in description["paths"].items():
        for method, operation in operations.items():
            if method in METHODS and nouns & set(operation["tags"]):
                paths.setdefault(path, {})[method] = operation
    schemas = description["components"]["schemas"]
    kept: dict[str, Any] = {}
    wanted = _named(paths)
    while wanted:
        name = wanted.pop()
        kept[name] = schemas[name]
        wanted |= _named(schemas[name]) - kept.keys()
    components = {**description["components"], "schemas": dict(sorted(kept.items()))}
    return {**description, "paths": paths, "components": components, "webhooks": {}}


def _named(node: Any) -> set[str]:
    return set(re.findall(r"#/components/schemas/(\w+)", str(node)))
