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
    stored: Any = type(row)._default_manager.select_for_update().get(pk=row.pk)
    for name, value in values.items():
        setattr(stored, name, value)
    stored.version += 1
    stored.save(update_fields=[*values, "version"])
    row.refresh_from_db()
    return row
