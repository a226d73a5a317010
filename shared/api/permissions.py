"""Asking for a scope: at the border of the API, and on pages."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from rest_framework.permissions import SAFE_METHODS, BasePermission

from shared.access.models import Site
from shared.api.access import access_of
from shared.api.roles import SCOPES


def scope_of(view: Any, method: str) -> str:
    """
    Return the scope that a call of a view needs.

    `scope_actions` of the view may name a scope, or a noun, for an action; otherwise the view's
    `scope_noun` counts. A noun gets `read` for safe methods and `write` for all others.
    """
    scope = getattr(view, "scope_actions", {}).get(getattr(view, "action", None))
    scope = scope or view.scope_noun
    if ":" not in scope:
        scope = f"{scope}:{'read' if method in SAFE_METHODS else 'write'}"
    if scope not in SCOPES:
        raise ValueError(f"{type(view).__name__} asks for {scope}, which no role knows.")
    return scope


class HasScope(BasePermission):
    """The caller is known and holds the view's scope at one site at least."""

    message = "Your role or token does not allow this."

    def has_permission(self, request: Any, view: Any) -> bool:
        """Tell whether the call may go on; which rows it sees is the view's queryset."""
        if not (request.user and request.user.is_authenticated):
            return False
        method = "GET" if request.method == "OPTIONS" else request.method
        scope = scope_of(view, method)
        if access_of(request).may(scope):
            return True
        self.message = f"This needs {scope}; your role or token does not have it."
        return False


def needs(scope: str) -> Callable[[Callable[..., HttpResponse]], Callable[..., HttpResponse]]:
    """
    Guard a page: sign in first, hold the scope, and work at one site.

    The page finds `request.access` and `request.site`: the site named by `?site=CODE`, else the
    one used last, else the first at which the scope is held.
    """
    if scope not in SCOPES:
        raise ValueError(f"No role knows {scope}.")

    def guard(page: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
        @functools.wraps(page)
        def guarded(request: Any, *args: Any, **kwargs: Any) -> HttpResponse:
            access = access_of(request)
            sites = Site.objects.in_bulk(access.sites_with(scope))
            if not sites:
                if request.user.is_superuser and not Site.objects.exists():
                    return redirect("start")
                raise PermissionDenied(f"This page needs {scope}; your role does not have it.")
            request.access = access
            request.site = _chosen(request, sites)
            return page(request, *args, **kwargs)

        guarded.scope = scope  # type: ignore[attr-defined]
        return login_required(guarded)

    return guard


def _chosen(request: HttpRequest, sites: dict[int, Site]) -> Site:
    asked = request.GET.get("site")
    if asked:
        for site in sites.values():
            if site.code == asked:
                request.session["site"] = site.pk
                return site
        raise PermissionDenied(f"There is no site {asked} that you may work at.")
    return sites.get(request.session.get("site", 0)) or sites[min(sites)]
