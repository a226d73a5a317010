"""Entering and changing rows of the registers, after the models' own checks."""

from __future__ import annotations

from typing import Any, TypeVar

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db.models import Model

Row = TypeVar("Row", bound=Model)


def enter(model: type[Row], **values: Any) -> Row:
    """Add a row; what the model or the database forbids is refused in words."""
    return _checked(model(**values))


def change(row: Row, **values: Any) -> Row:
    """Change what is named and leave the rest."""
    for name, value in values.items():
        setattr(row, name, value)
    return _checked(row)


def _checked(row: Row) -> Row:
    row.full_clean()
    row.save()
    return row


def in_words(error: ValidationError) -> str:
    """Return the sentences of a model's refusal, each with the name of its field."""
    if not hasattr(error, "error_dict"):
        return " ".join(error.messages)
    return " ".join(
        words if name == NON_FIELD_ERRORS or words.startswith(name) else f"{name}: {words}"
        for name, found in error.message_dict.items()
        for words in found
    )
