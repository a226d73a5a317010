"""Writes of the set-up pages: enter a row, change it, put it out of use, take it away."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Model, ProtectedError

from shared.access.models import Site, User
from shared.errors import ShopError
from shop.catalogue.models import CatalogueChange
from shop.registers import change, change_or_propose, enter
from shop.registers import remove as take_away
from shop.setup.registers import Register
from shop.sites.models import Person, Shift


@dataclass(frozen=True)
class Why:
    """Who changes a value, why, and from which day it is to hold where it is only proposed."""

    by: User
    reason: str = ""
    valid_from: date | None = None


@transaction.atomic
def save(
    *, register: Register, row: Any, values: dict[str, Any], site: Site, why: Why
) -> tuple[Any, CatalogueChange | None]:
    """
    Enter a row or change it; a value that takes a second signature is proposed instead.

    Returns
    -------
    tuple
        The row, and the proposed change if there is one.

    Raises
    ------
    ValidationError
        What the model or the database forbids, by field.
    """
    values = dict(values)
    shifts = values.pop("shifts", None)
    proposed = None
    if row.pk is None:
        own = {"site": site} if register.per_site else {}
        row = enter(register.model, **own, **values)
    else:
        if hasattr(row, "version"):
            values["version"] = row.version + 1
        row, proposed = change_or_propose(
            row, values, by=why.by, reason=why.reason, valid_from=why.valid_from
        )
    if shifts is not None:
        _set_shifts(row, shifts)
    return row, proposed


def _set_shifts(person: Person, shifts: list[tuple[int, Any, Any]]) -> None:
    """Give a person these weekly hours; those that stay are left as they are."""
    there = {(s.weekday, s.starts, s.ends): s for s in person.shifts.all()}
    for key, shift in there.items():
        if key not in shifts:
            shift.delete()
    for weekday, starts, ends in shifts:
        if (weekday, starts, ends) not in there:
            enter(Shift, person=person, weekday=weekday, starts=starts, ends=ends)


def set_in_use(*, row: Any, in_use: bool) -> Any:
    """Put a row out of use, or back; its history stays."""
    return change(row, in_use=in_use, version=row.version + 1)


def remove(*, row: Model) -> None:
    """Take away a row that nothing refers to."""
    try:
        take_away(row)
    except ProtectedError as error:
        used = sorted({str(one._meta.verbose_name_plural) for one in error.protected_objects})
        raise ShopError(
            f"{row} is used by {', '.join(used)}, so it stays as their record. Put it out of use "
            "where that is offered.",
            "in_use",
        ) from error


def problems_of(error: ValidationError) -> list[tuple[str, str]]:
    """Return a model's refusal as pairs of field and sentence; the field may be empty."""
    if not hasattr(error, "error_dict"):
        return [("", words) for words in error.messages]
    return [
        (name if name != "__all__" else "", words)
        for name, found in error.message_dict.items()
        for words in found
    ]
