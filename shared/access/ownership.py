"""Which site a row belongs to: said by the tables themselves, in one place for all who ask."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any

from django.db.models import ForeignKey, Model

from shared.access.models import Site


def site_path_of(model: type[Model]) -> str | None:
    """
    Return the way from a model to its site as queries write it, or none for a row of all sites.

    It is the shortest way along links that are never empty: `site` for a lot, `lot__site` for a
    container, `pk` for a site itself. A model may name another in `site_path`.
    """
    return _shortest(model)


@cache
def _shortest(model: Any) -> str | None:
    named: str | None = getattr(model, "site_path", None)
    if named is not None:
        return named
    if model is Site:
        return "pk"
    seen, ways = {model}, [(model, "")]
    while ways:
        further = []
        for kind, before in ways:
            for name, target in _links(kind):
                if target is Site:
                    return f"{before}{name}"
                if target not in seen:
                    seen.add(target)
                    further.append((target, f"{before}{name}__"))
        ways = further
    return None


def _links(model: type[Model]) -> Iterator[tuple[str, Any]]:
    for field in model._meta.concrete_fields:
        if isinstance(field, ForeignKey) and not field.null:
            yield field.name, field.related_model


def site_id_of(row: Model) -> int | None:
    """Return the id of the site a row belongs to, or none for a row of all sites."""
    path = site_path_of(type(row))
    if path is None or path == "pk":
        return None if path is None else row.pk
    found: Any = row
    *before, last = path.split("__")
    for name in before:
        found = getattr(found, name)
    return getattr(found, f"{last}_id")


def owners_path_of(model: type[Model]) -> str | None:
    """Return the way to the row that holds the site, to read it in one go; none when none is."""
    path = site_path_of(model)
    return path.rpartition("__")[0] or None if path else None
