"""
Lists by signed cursor: `{"items": [...], "next": address or null}`.

A cursor holds the sort values of the last row shown, so rows that come and go meanwhile neither
repeat nor hide others. It is signed together with the filters it was made for.
"""

from __future__ import annotations

import hashlib
from typing import Any

from django.core import signing
from django.core.exceptions import FieldDoesNotExist
from django.db.models import F, Model, Q, QuerySet
from rest_framework.pagination import BasePagination
from rest_framework.response import Response

from shared.api.problems import BadParameter

USUAL = 50
MOST = 200
SALT = "shared.api.pagination"
OWN = ("limit", "cursor")


class SignedCursor(BasePagination):
    """The one pagination of the API."""

    def paginate_queryset(self, queryset: Any, request: Any, view: Any = None) -> Any:
        """Return one page of rows, and remember where the next one begins."""
        self.request = request
        self.limit = limit_of(request)
        self.order = _total_order(queryset)
        self.filters = _filters(request)
        empty = {name for name in self.order if _may_be_empty(queryset.model, name.lstrip("-"))}
        rows = queryset.order_by(*(_ordering(name, name in empty) for name in self.order))
        if cursor := request.query_params.get("cursor"):
            rows = rows.filter(_after(self.order, self._read(cursor), empty))
        found = list(rows[: self.limit + 1])
        self.more = len(found) > self.limit
        self.page = found[: self.limit]
        return self.page

    def get_paginated_response(self, data: Any) -> Response:
        """Return the page with the address of the next."""
        following = self._next()
        headers = {"Link": f'<{following}>; rel="next"'} if following else {}
        return Response({"items": data, "next": following}, headers=headers)

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        """Return the schema of a page."""
        return {
            "type": "object",
            "required": ["items", "next"],
            "properties": {
                "items": schema,
                "next": {"type": ["string", "null"], "format": "uri"},
            },
        }

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        """Return the two parameters of a list."""
        return [
            {
                "name": "limit",
                "in": "query",
                "description": f"Rows on a page; {USUAL} unless said, {MOST} at most.",
                "schema": {"type": "integer", "minimum": 1, "maximum": MOST, "default": USUAL},
            },
            {
                "name": "cursor",
                "in": "query",
                "description": "Taken from `next` of the page before; opaque.",
                "schema": {"type": "string"},
            },
        ]

    def _read(self, cursor: str) -> list[Any]:
        try:
            order, filters, values = signing.loads(cursor, salt=SALT)
        except signing.BadSignature:
            raise _bad("cursor", "cursor is not one of ours; take it from `next`.") from None
        if [order, filters] != [",".join(self.order), self.filters]:
            raise _bad("cursor", "cursor was made for other filters; begin without it.")
        return values

    def _next(self) -> str | None:
        if not self.more:
            return None
        values = [_value(self.page[-1], name.lstrip("-")) for name in self.order]
        cursor = signing.dumps([",".join(self.order), self.filters, values], salt=SALT)
        query = self.request.query_params.copy()
        query["cursor"] = cursor
        return self.request.build_absolute_uri(f"{self.request.path}?{query.urlencode()}")


def limit_of(request: Any) -> int:
    """Return how many rows a caller wants at most; refuse what is out of range."""
    text = request.query_params.get("limit", str(USUAL))
    if not (text.isascii() and text.isdigit() and len(text) < 10 and 1 <= int(text) <= MOST):
        raise _bad("limit", f"limit is {text[:20]!r}; it must be a whole number from 1 to {MOST}.")
    return int(text)


def _bad(name: str, sentence: str) -> BadParameter:
    return BadParameter([{"parameter": name, "code": "invalid", "detail": sentence}])


def _total_order(queryset: QuerySet[Any]) -> list[str]:
    """Return the order of the rows, ended by the key so that no two rows are equal."""
    order = list(queryset.query.order_by or queryset.model._meta.ordering or ())
    names = [name for name in order if name.lstrip("-") not in ("pk", "id")]
    return [*(name.replace("-pk", "-id") for name in names), _last(order)]


def _last(order: list[str]) -> str:
    return "-id" if {"-id", "-pk"} & set(order) else "id"


def _may_be_empty(model: Any, path: str) -> bool:
    """Whether a sort value can be NULL: its field, or any link on the way to it, may be empty."""
    for step in path.split("__"):
        try:
            field = model._meta.get_field(model._meta.pk.name if step == "pk" else step)
        except FieldDoesNotExist:
            return True  # worked out in the query; nobody says that it has a value
        if field.null:
            return True
        if field.is_relation:
            model = field.related_model
    return False


def _ordering(name: str, may_be_empty: bool) -> Any:
    """
    Return one term of the order; empty values come last.

    NULLS LAST is said only where a value can be empty: PostgreSQL keeps its indexes the other way
    round, and a term that says it cannot be read from one, so the whole table would be sorted.
    """
    if not may_be_empty:
        return name
    field = F(name.lstrip("-"))
    return field.desc(nulls_last=True) if name.startswith("-") else field.asc(nulls_last=True)


def _after(order: list[str], values: list[Any], may_be_empty: set[str]) -> Q:
    """Return the condition for rows behind the given values; empty values sort last."""
    behind = Q(pk__in=[])
    equal = Q()
    for name, value in zip(order, values, strict=True):
        field = name.lstrip("-")
        if value is None:
            equal &= Q(**{f"{field}__isnull": True})
            continue
        beyond = Q(**{f"{field}__{'lt' if name.startswith('-') else 'gt'}": value})
        if name in may_be_empty:
            beyond |= Q(**{f"{field}__isnull": True})
        behind |= equal & beyond
        equal &= Q(**{field: value})
    return behind


def _value(row: Model, path: str) -> Any:
    value: Any = row
    for step in path.split("__"):
        value = getattr(value, step, None)
    if isinstance(value, Model):
        value = value.pk
    if value is None or isinstance(value, int | str):
        return value
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


def _filters(request: Any) -> str:
    asked = sorted(
        (name, value)
        for name, values in request.query_params.lists()
        if name not in OWN
        for value in values
    )
    return hashlib.sha256(repr(asked).encode()).hexdigest()[:16]
