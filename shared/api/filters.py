"""
Filters, sorting and choice of fields, from allow-lists.

An unknown parameter is refused: a filter that is silently ignored hands out everything.
A view says `filterset_fields` or `filterset_class`, and `sort_fields = ("use_by", "id")`.
"""

from __future__ import annotations

import re
from typing import Any

from django.db.models import DecimalField, QuerySet
from django_filters import rest_framework as django_filters
from django_filters.rest_framework import (
    BooleanFilter,
    DateTimeFilter,
    IsoDateTimeFilter,
    NumberFilter,
)
from django_filters.utils import get_model_field
from rest_framework.filters import BaseFilterBackend

from shared.access.ownership import site_path_of
from shared.api.fields import MOMENT
from shared.api.pagination import OWN
from shared.api.problems import BadParameter

FIELDS = "fields"
WHOLE = re.compile(r"-?[0-9]{1,18}")


class Filters(django_filters.DjangoFilterBackend):
    """Field filters, with problems that name the parameter."""

    def filter_queryset(self, request: Any, queryset: QuerySet[Any], view: Any) -> QuerySet[Any]:
        """Return the rows that pass; refuse values that cannot be read."""
        if getattr(view, "action", None) != "list":
            return queryset
        filterset = self.get_filterset(request, queryset, view)
        if filterset is None:
            return queryset
        refuse_unclear(filterset, request)
        if not filterset.is_valid():
            raise BadParameter(
                [
                    {
                        "parameter": name,
                        "code": "invalid",
                        "detail": f"{name} is {request.query_params.get(name, '')[:80]!r}: "
                        + " ".join(map(str, messages)),
                    }
                    for name, messages in filterset.errors.items()
                ]
            )
        return filterset.qs


def refuse_unclear(filterset: Any, request: Any) -> None:
    """Refuse what a filter would read as "no filter", or as a moment without its offset."""
    problems = []
    for name, one in filterset.filters.items():
        value = request.query_params.get(name)
        if value is None:
            continue
        if isinstance(one, BooleanFilter) and value not in ("true", "false"):
            sentence = f"{name} is {value[:40]!r}; give true or false."
        elif isinstance(one, DateTimeFilter | IsoDateTimeFilter) and not MOMENT.fullmatch(value):
            sentence = f"{name} is {value[:40]!r}; give a moment such as 2026-11-30T07:30:00Z."
        elif _is_whole(one) and not WHOLE.fullmatch(value):
            sentence = f"{name} is {value[:40]!r}; give a whole number."
        else:
            continue
        problems.append({"parameter": name, "code": "invalid", "detail": sentence})
    if problems:
        raise BadParameter(problems)


def _is_whole(one: Any) -> bool:
    field = get_model_field(one.model, one.field_name)
    return isinstance(one, NumberFilter) and not isinstance(field, DecimalField)


class Sorting(BaseFilterBackend):
    """`sort=-use_by,id`, from the view's `sort_fields`."""

    def filter_queryset(self, request: Any, queryset: QuerySet[Any], view: Any) -> QuerySet[Any]:
        """Return the rows in the order asked for."""
        asked = request.query_params.get("sort")
        if not asked:
            return queryset
        allowed = tuple(getattr(view, "sort_fields", ()))
        names = asked.split(",")
        wrong = [name for name in names if name.removeprefix("-") not in allowed]
        if wrong or len(names) > len(allowed):
            raise BadParameter(
                [
                    {
                        "parameter": "sort",
                        "code": "unknown",
                        "detail": f"sort names {', '.join(wrong or names)[:80]!r}; this list can "
                        f"be sorted by {', '.join(allowed) or 'nothing else'}, each once.",
                    }
                ]
            )
        return queryset.order_by(*names)

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        """Return the parameter, where there is anything to sort by."""
        allowed = tuple(getattr(view, "sort_fields", ()))
        if not allowed:
            return []
        one = "-?(" + "|".join(allowed) + ")"
        return [
            {
                "name": "sort",
                "in": "query",
                "description": f"Comma-separated, `-` for descending: {', '.join(allowed)}.",
                "schema": {"type": "string", "pattern": f"^{one}(,{one})*$"},
            }
        ]


class KnownParameters(BaseFilterBackend):
    """Refuse query parameters that the address does not know."""

    def filter_queryset(self, request: Any, queryset: QuerySet[Any], view: Any) -> QuerySet[Any]:
        """Return all rows; the check is the point."""
        check_known(request, self.known(request, queryset, view))
        return queryset

    def known(self, request: Any, queryset: QuerySet[Any], view: Any) -> set[str]:
        """Return the names that this view reads."""
        known = {FIELDS, *getattr(view, "extra_parameters", ())}
        if getattr(view, "action", None) != "list":
            return known
        known |= {*OWN, "sort"}
        if _of_a_site(view):
            known.add("site")
        filterset = Filters().get_filterset_class(view, queryset)
        return known | set(filterset.base_filters if filterset else ())

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        """Return the parameters that belong to no other backend."""
        found = [
            {
                "name": FIELDS,
                "in": "query",
                "description": "Comma-separated names of the fields wanted; all without it.",
                "schema": {"type": "string"},
            }
        ]
        if _of_a_site(view):
            found.append(
                {
                    "name": "site",
                    "in": "query",
                    "description": "Code of the site; all your sites without it.",
                    "schema": {"type": "string"},
                }
            )
        return found


def _of_a_site(view: Any) -> bool:
    """Tell whether the rows of a view belong each to a site."""
    rows = getattr(view, "queryset", None)
    return rows is not None and site_path_of(rows.model) is not None


def check_known(request: Any, known: set[str]) -> None:
    """Refuse parameters that are not known, or that stand twice."""
    problems = []
    for name, values in request.query_params.lists():
        if name not in known:
            sentence = (
                f"{name[:60]!r} is not a parameter here; known are {', '.join(sorted(known))}."
            )
            problems.append({"parameter": name[:60], "code": "unknown", "detail": sentence})
        elif len(values) > 1:
            sentence = f"{name} stands {len(values)} times; give it once."
            problems.append({"parameter": name, "code": "repeated", "detail": sentence})
        elif not values[0]:
            sentence = f"{name} is empty; give a value or leave it out."
            problems.append({"parameter": name, "code": "empty", "detail": sentence})
        elif "\0" in values[0]:
            sentence = f"{name} holds a NUL character."
            problems.append({"parameter": name, "code": "invalid", "detail": sentence})
    if problems:
        raise BadParameter(problems)
