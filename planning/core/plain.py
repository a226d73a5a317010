"""Plain JSON form of frozen dataclasses: strict on the way in, stable on the way out."""

from __future__ import annotations

import dataclasses
import json
import math
import types
import typing
from functools import cache
from typing import Any, TypeVar

T = TypeVar("T")


class FormError(ValueError):
    """A document that does not have the promised form; says where and what was expected."""


def to_plain(value: Any) -> Any:
    """Turn dataclasses and tuples into dicts and lists, leaving out nothing."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: to_plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, (tuple, list)):
        return [to_plain(item) for item in value]
    if isinstance(value, dict):
        return {str(key): to_plain(item) for key, item in value.items()}
    return value


def dumps(value: Any) -> str:
    """Write a value as JSON, the same bytes for the same value."""
    return json.dumps(to_plain(value), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def loads(kind: type[T], text: str) -> T:
    """
    Read a dataclass from JSON text.

    Raises
    ------
    FormError
        Names the place in the document, the value found and what would be accepted.
    """
    try:
        document = json.loads(text)
    except json.JSONDecodeError as error:
        raise FormError(f"Not JSON: {error}.") from error
    return from_plain(kind, document)


def from_plain(kind: type[T], document: Any, where: str = "") -> T:
    """Build a dataclass from plain values; unknown and missing fields are refused by name."""
    if not isinstance(document, dict):
        raise FormError(f"{where or 'document'}: expected an object, found {_shown(document)}.")
    hints = _hints(typing.cast(type, kind))
    fields = {f.name: f for f in dataclasses.fields(kind)}  # type: ignore[arg-type]
    unknown = sorted(set(document) - set(fields))
    if unknown:
        raise FormError(
            f"{where or 'document'}: unknown field {unknown[0]!r}; known: {', '.join(fields)}."
        )
    values: dict[str, Any] = {}
    for name, field in fields.items():
        place = f"{where}.{name}" if where else name
        if name in document:
            values[name] = _value(hints[name], document[name], place)
        elif field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING:
            raise FormError(f"{place}: missing.")
    try:
        return kind(**values)
    except FormError:
        raise
    except ValueError as error:
        raise FormError(f"{where or 'document'}: {error}") from error


@cache
def _hints(kind: type[Any]) -> dict[str, Any]:
    return typing.get_type_hints(kind)


def _value(hint: Any, value: Any, where: str) -> Any:
    origin, args = typing.get_origin(hint), typing.get_args(hint)
    if origin in (types.UnionType, typing.Union):
        if value is None and type(None) in args:
            return None
        return _value(next(a for a in args if a is not type(None)), value, where)
    if origin is tuple:
        if not isinstance(value, list):
            raise FormError(f"{where}: expected a list, found {_shown(value)}.")
        if len(args) == 2 and args[1] is Ellipsis:
            return tuple(_value(args[0], v, f"{where}[{i}]") for i, v in enumerate(value))
        if len(value) != len(args):
            raise FormError(f"{where}: expected {len(args)} values, found {len(value)}.")
        pairs = zip(args, value, strict=True)
        return tuple(_value(a, v, f"{where}[{i}]") for i, (a, v) in enumerate(pairs))
    if origin is typing.Literal:
        if value not in args:
            raise FormError(f"{where}: {_shown(value)} is none of {', '.join(map(repr, args))}.")
        return value
    if dataclasses.is_dataclass(hint):
        return from_plain(typing.cast(type, hint), value, where)
    return _scalar(hint, value, where)


def _scalar(hint: Any, value: Any, where: str) -> Any:
    if hint is float and isinstance(value, (int, float)) and not isinstance(value, bool):
        if not math.isfinite(value):
            raise FormError(f"{where}: {value} is not a finite number.")
        return float(value)
    if hint is int and isinstance(value, int) and not isinstance(value, bool):
        return value
    if hint in (str, bool) and isinstance(value, hint):
        return value
    raise FormError(f"{where}: expected {hint.__name__}, found {_shown(value)}.")


def _shown(value: Any) -> str:
    text = json.dumps(value, default=str)
    return text if len(text) <= 60 else text[:57] + "..."
