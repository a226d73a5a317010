"""What the shop refuses: a sentence for people, a code and facts for programs. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Self


@dataclass(frozen=True)
class FieldProblem:
    """
    One thing wrong with one field.

    Attributes
    ----------
    pointer : str
        JSON Pointer into what was sent, as a fragment: `#/items/1/quantity_kg`.
    code : str
        Short name that programs compare.
    detail : str
        A sentence with field, value, limit, unit and what would be accepted.
    value, limit, unit : str or None
        The same figures for programs, where there are any.
    """

    pointer: str
    code: str
    detail: str
    value: str | None = None
    limit: str | None = None
    unit: str | None = None

    def as_dict(self) -> dict[str, str]:
        """Return the members that say something, for JSON."""
        members = {
            "pointer": self.pointer,
            "code": self.code,
            "detail": self.detail,
            "value": self.value,
            "limit": self.limit,
            "unit": self.unit,
        }
        return {name: text for name, text in members.items() if text is not None}


class ShopError(Exception):
    """
    A rule of the shop forbids what was asked.

    Parameters
    ----------
    message : str
        A full sentence with figures and units.
    code : str
        Name of the rule, lower case with underscores.
    status : int
        HTTP status it becomes at the border; 409 unless the rule says otherwise.
    **facts
        Figures for programs; decimals and dates are written as text at the border.
    """

    def __init__(
        self, message: str, code: str = "refused", status: int = 409, **facts: Any
    ) -> None:
        super().__init__(message)
        self.message = message
        self.code = code
        self.status = status
        self.facts = facts


class Invalid(ShopError):
    """Some fields are not valid; all the bad ones are named at once."""

    def __init__(self, message: str, problems: tuple[FieldProblem, ...] = ()) -> None:
        super().__init__(message, "validation", 422)
        self.problems = tuple(problems)

    @classmethod
    def one(
        cls,
        field: str,
        code: str,
        detail: str,
        *,
        value: object = None,
        limit: object = None,
        unit: str | None = None,
    ) -> Self:
        """Return the error for one bad field, given as a name or as `items/1/name`."""
        pointer = field if field.startswith("#") else f"#/{field}"
        problem = FieldProblem(
            pointer,
            code,
            detail,
            None if value is None else str(value),
            None if limit is None else str(limit),
            unit,
        )
        return cls(detail, (problem,))


def file_too_large(size: int, most: int, advice: str = ".") -> Invalid:
    """Return the refusal of a file with too many bytes; `advice` ends its sentence."""
    words = f"file has {size:,} bytes or more; at most {most:,} are taken{advice}"
    return Invalid.one("file", "too_large", words, value=size, limit=most, unit="bytes")
