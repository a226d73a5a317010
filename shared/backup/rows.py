"""Rows of every table as lines of JSON that any program can read, and back."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.apps import apps
from django.db import models

from shared.sealed import SealedField

OF_THE_INSTALLATION = frozenset(
    {
        "auth.Permission", "auth.Group", "auth.Group_permissions", "contenttypes.ContentType",
        "sessions.Session", "axes.AccessFailureLog", "axes.AccessAttempt",
        "axes.AccessAttemptExpiration", "axes.AccessLog", "shared.User_groups",
        "shared.User_user_permissions", "shared.AccessToken", "shared.AccessToken_sites",
        "shared.IdempotencyKey", "shared.SecondStep", "shared.SpareCode", "shared.SignedIn",
        "shared.AskedPassword", "planning.Heartbeat",
    }
)  # fmt: skip
"""Tables that are not the shop's: who is signed in, keys of calls and of other systems."""
SECRETS = frozenset({"shared.User.password", "planning.ReminderSettings.feed_digest"})
"""Columns left empty, beside every sealed one."""
NO_PASSWORD = "!"
"""A password that lets nobody in."""


def tables() -> list[type[models.Model]]:
    """Return the models of the shop's own tables, by name."""
    found = [
        model
        for model in apps.get_models(include_auto_created=True)
        if model._meta.managed and model._meta.label not in OF_THE_INSTALLATION
    ]
    return sorted(found, key=lambda model: model._meta.label)


def is_secret(model: type[models.Model], field: models.Field[Any, Any]) -> bool:
    """Tell whether a column is left empty."""
    return isinstance(field, SealedField) or f"{model._meta.label}.{field.name}" in SECRETS


def lines(model: type[models.Model]) -> Iterator[str]:
    """Yield each row of a table, by its key, as one line of JSON, alike from either database."""
    fields = [f for f in model._meta.concrete_fields if not is_secret(model, f)]
    for row in model._base_manager.order_by("pk").iterator(chunk_size=1000):
        yield json.dumps(
            {field.attname: _plain(field.value_from_object(row)) for field in fields},
            ensure_ascii=False, allow_nan=False, separators=(",", ":"), sort_keys=True,
        )  # fmt: skip


def _plain(value: Any) -> Any:
    match value:
        case Decimal():
            return format(value, "f")
        case datetime() | date() | time():
            return value.isoformat()
        case timedelta():
            return value.total_seconds()
        case UUID():
            return str(value)
        case bytes() | memoryview():
            return base64.b64encode(bytes(value)).decode()
        case models.fields.files.FieldFile():
            return value.name or ""
    return value


def row_of(model: type[models.Model], line: bytes) -> models.Model:
    """
    Return the row that a line holds, not yet stored.

    Raises
    ------
    ValueError
        The line is no row of this table.
    """
    data = json.loads(line)
    fields = {f.attname: f for f in model._meta.concrete_fields if not is_secret(model, f)}
    if not isinstance(data, dict) or set(data) != set(fields):
        raise ValueError(f"a row of {model._meta.label} has other columns")
    values = {name: _read(field, data[name]) for name, field in fields.items()}
    row = model(**values)
    if model._meta.label == "shared.User":
        row.password = NO_PASSWORD  # type: ignore[attr-defined]
    return row


def _read(field: models.Field[Any, Any], value: Any) -> Any:
    if value is None or isinstance(field, models.JSONField):
        return value
    if isinstance(field, models.DurationField):
        return timedelta(seconds=value)
    if isinstance(field, models.BinaryField):
        return base64.b64decode(value)
    if isinstance(field, models.FileField):
        return str(value)
    target: Any = field.target_field if isinstance(field, models.ForeignKey) else field
    try:
        return target.to_python(value)
    except Exception as error:
        raise ValueError(f"{field.name} holds {str(value)[:40]!r}") from error
