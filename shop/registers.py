"""Entering and changing rows of the registers, after the models' own checks."""

from __future__ import annotations

from datetime import date
from typing import Any, TypeVar

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import transaction
from django.db.models import Model

from shared import clock
from shared.access.models import User
from shop.catalogue.actions import check_one_signature, check_whole_row, propose
from shop.catalogue.guarded import changed
from shop.catalogue.models import CatalogueChange
from shop.catalogue.queries import two_signatures

Row = TypeVar("Row", bound=Model)


def enter(model: type[Row], **values: Any) -> Row:
    """Add a row; what the model or the database forbids is refused in words."""
    check_whole_row(model)
    return _checked(model(**values))


def remove(row: Model) -> None:
    """Take a row away, unless others use it."""
    check_whole_row(row)
    row.delete()


def change(row: Row, **values: Any) -> Row:
    """
    Change what is named and leave the rest.

    Raises
    ------
    ShopError
        `second_signature_needed` for a value that the company lets nobody change alone.
    """
    check_one_signature(row, values)
    for name, value in values.items():
        setattr(row, name, value)
    return _checked(row)


def _checked(row: Row) -> Row:
    row.full_clean()
    row.save()
    return row


def change_or_propose(
    row: Row, values: dict[str, Any], *, by: User, reason: str, valid_from: date | None = None
) -> tuple[Row, CatalogueChange | None]:
    """
    Change what one person may change, and propose the rest where a second signature is asked for.

    Returns
    -------
    tuple
        The row, and the proposed change if there is one.
    """
    guarded = changed(row, values) if two_signatures() else {}
    with transaction.atomic():
        proposed = None
        if guarded:
            proposed = propose(
                row=row,
                values={name: values[name] for name in guarded},
                by=by,
                reason=reason,
                now=clock.now(),
                valid_from=valid_from,
            )
        rest = {name: value for name, value in values.items() if name not in guarded}
        return change(row, **rest), proposed


def in_words(error: ValidationError) -> str:
    """Return the sentences of a model's refusal, each with the name of its field."""
    if not hasattr(error, "error_dict"):
        return " ".join(error.messages)
    return " ".join(
        words if name == NON_FIELD_ERRORS or words.startswith(name) else f"{name}: {words}"
        for name, found in error.message_dict.items()
        for words in found
    )
