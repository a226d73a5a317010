"""
The addresses of the API, called from inside: one way in for page, command, REST and file.

A row of a file is sent to the very view that a program would send it to, as the same caller, so
that rights, rules, limits and words are those of the API and can't differ from them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import HttpRequest
from django.urls import resolve
from rest_framework.exceptions import APIException, ValidationError
from rest_framework.request import Request

from shared.access.models import Site
from shared.api import problems
from shared.errors import FieldProblem, Invalid, ShopError


class _Inside(HttpRequest):
    """A request that came over no wire."""

    def build_absolute_uri(self, location: str | None = None) -> str:
        """Return the address without a host."""
        return location or self.path


class Refused(Exception):
    """What the API refused, one problem for each fault."""

    def __init__(self, problems: list[FieldProblem]) -> None:
        super().__init__(" ".join(one.detail for one in problems))
        self.problems = problems


class Doors:
    """Calls to the API as one caller, at one site."""

    def __init__(self, caller: Any, site: Site) -> None:
        """Take user and token of `caller`, a request that is being answered or stands for one."""
        self.user, self.auth, self.site = caller.user, getattr(caller, "auth", None), site

    def post(self, address: str, body: Mapping[str, Any]) -> dict[str, Any]:
        """Make a row, or act on one."""
        return self._write("POST", address, body)

    def patch(self, address: str, body: Mapping[str, Any]) -> dict[str, Any]:
        """Change what is named of a row."""
        return self._write("PATCH", address, body)

    def delete(self, address: str) -> None:
        """Take a row away."""
        self._write("DELETE", address, {})

    def rows(self, address: str) -> list[dict[str, Any]]:
        """Return all rows of a list at the site, as the API shows them."""
        view, request, kwargs = self._view("GET", address, {})
        self._may(view, request, kwargs)
        rows = view.get_queryset()
        view.action = "list"
        path = _path(rows.model)
        rows = rows.filter(**{path: self.site.pk}) if path else rows
        context = view.get_serializer_context()
        shown = view.get_serializer_class()(rows.order_by("pk"), many=True, context=context)
        return [dict(row) for row in shown.data]

    def form(self, address: str) -> Any:
        """Return the form that takes a new row; nothing is checked."""
        view, _, _ = self._view("POST", address, {})
        return view.get_serializer()

    def _write(self, method: str, address: str, body: Mapping[str, Any]) -> dict[str, Any]:
        view, request, kwargs = self._view(method, address, body)
        try:
            with transaction.atomic():
                self._may(view, request, kwargs)
                answer = getattr(view, method.lower())(request, **kwargs)
        except Exception as error:
            raise _told(error, request, body) from error
        return dict(answer.data or {})

    def _view(
        self, method: str, address: str, body: Mapping[str, Any]
    ) -> tuple[Any, Request, dict[str, Any]]:
        bare = _Inside()
        bare.method, bare.path = method, f"/api/v1/{address}"
        match = resolve(bare.path)
        call: Any = match.func
        view = call.cls(**getattr(call, "initkwargs", {}))
        request = Request(bare, authenticators=())
        request.user, request.auth = self.user, self.auth
        full: Any = request
        full._full_data = full._data = body
        actions = getattr(call, "actions", None) or {}
        for verb, name in actions.items():
            setattr(view, verb, getattr(view, name))
        view.action_map, view.action = actions, actions.get(method.lower())
        view.request, view.args, view.kwargs, view.format_kwarg = request, (), match.kwargs, None
        view.headers, view.throttle_classes = {}, ()
        view.key_required = view.versioned = False
        return view, request, dict(match.kwargs)

    def _may(self, view: Any, request: Request, kwargs: dict[str, Any]) -> None:
        view.initial(request, **kwargs)


def _path(model: Any) -> str | None:
    from shared.access.ownership import site_path_of

    return site_path_of(model)


def _told(error: Exception, request: Request, body: Any) -> Exception:
    """Return a refusal as problems by field; a fault of the program stays what it is."""
    match error:
        case Invalid() if error.problems:
            return Refused(list(error.problems))
        case ValidationError():
            return Refused(list(problems.field_problems(error.detail, body)))
        case ShopError():
            return Refused([FieldProblem("#", error.code, error.message)])
        case PermissionDenied() | APIException():
            members, _ = problems.describe(error, request)
            return Refused([FieldProblem("#", members["code"], members["detail"])])
    members, _ = problems.describe(error, request)
    if members["status"] in (404, 409, 422):
        errors = members.get("errors")
        if errors:
            return Refused([FieldProblem(**one) for one in errors])
        return Refused([FieldProblem("#", members["code"], members["detail"])])
    return error
