"""
Shapes of answers that no serializer writes, for the description of the API.

    obj(site=SITE, items=rows(obj(lot=ID, quantity=DECIMAL, note=maybe(TEXT))))

Every member is there unless marked `absent`; a value that may be null is marked `maybe`.
"""

from __future__ import annotations

from typing import Any

from shared.units import unit_of_name

Schema = dict[str, Any]
MARK = "x-absent"

TEXT: Schema = {"type": "string"}
YES_NO: Schema = {"type": "boolean"}
WHOLE: Schema = {"type": "integer"}
COUNT: Schema = {"type": "integer", "minimum": 0}
NUMBER: Schema = {"type": "number"}
DECIMAL: Schema = {"type": "string", "pattern": r"^-?[0-9]+(\.[0-9]+)?$"}
DAY: Schema = {"type": "string", "format": "date"}
MOMENT: Schema = {"type": "string", "format": "date-time"}
MONTH: Schema = {"type": "string", "pattern": "^[0-9]{4}-[0-9]{2}$"}
ID: Schema = {"type": "string", "pattern": "^[1-9][0-9]{0,17}$"}
SITE: Schema = {"type": "string", "description": "Code of the site."}


def obj(about: str = "", /, **members: Schema) -> Schema:
    """Return an object of these members; a decimal whose name ends in a unit is told in it."""
    found: Schema = {
        "type": "object",
        "required": [name for name, schema in members.items() if MARK not in schema],
        "properties": {name: _named(name, schema) for name, schema in members.items()},
    }
    if not found["required"]:
        del found["required"]
    return found | ({"description": about} if about else {})


def _named(name: str, schema: Schema) -> Schema:
    clean = {key: value for key, value in schema.items() if key != MARK}
    unit = unit_of_name(name)
    if unit and "description" not in clean and "properties" not in clean:
        clean["description"] = f"In {unit}."
    return clean


def rows(item: Schema, about: str = "") -> Schema:
    """Return a list of the same."""
    found: Schema = {"type": "array", "items": item}
    return found | ({"description": about} if about else {})


def by_name(value: Schema, about: str) -> Schema:
    """Return an object whose names are data, such as sums by currency."""
    return {"type": "object", "additionalProperties": value, "description": about}


def maybe(schema: Schema) -> Schema:
    """Return the same, or null."""
    if "type" not in schema:
        return {"anyOf": [schema, {"type": "null"}]}
    kind = schema["type"]
    found = {**schema, "type": [kind, "null"] if isinstance(kind, str) else [*kind, "null"]}
    return found | ({"enum": [*schema["enum"], None]} if "enum" in schema else {})


def absent(schema: Schema) -> Schema:
    """Return the same, as a member that is left out where it does not apply."""
    return {**schema, MARK: True}


def one_of(*words: str) -> Schema:
    """Return one word of a list."""
    return {"type": "string", "enum": list(words)}


def told(schema: Schema, words: str) -> Schema:
    """Return the same with a sentence about it."""
    return {**schema, "description": words}
