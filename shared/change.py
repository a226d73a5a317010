"""One way to change a row's state: its version rises, and the audit sees it."""

from __future__ import annotations

from typing import Any, TypeVar

from django.db import models, transaction

Row = TypeVar("Row", bound=models.Model)


@transaction.atomic
def change(row: Row, **values: Any) -> Row:
    """
    Set fields of a stored row and return it as it is then.

    The row is locked, its `version` rises by one, and it is saved, so that the entry in the
    audit is written in the same transaction. `QuerySet.update` writes none.
    """
    _set(_locked(type(row)._default_manager.filter(pk=row.pk)).get(), values)
    row.refresh_from_db()
    return row


@transaction.atomic
def change_all(rows: models.QuerySet[Any], **values: Any) -> int:
    """
    Set fields of each of some rows, as `change` does of one; return how many there were.

    Rows that another has changed so that they no longer fit the query are left as they are.
    """
    keys = list(rows.values_list("pk", flat=True).distinct())
    found = 0
    for row in _locked(rows.model._default_manager.filter(pk__in=keys).order_by("pk")):
        if rows.filter(pk=row.pk).exists():
            _set(row, values)
            found += 1
    return found


def _locked(rows: models.QuerySet[Any]) -> models.QuerySet[Any]:
    return rows.select_for_update(of=("self",))


def _set(stored: Any, values: dict[str, Any]) -> None:
    for name, value in values.items():
        setattr(stored, name, value)
    stored.version += 1
    stored.save(update_fields=[*values, "version"])
