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
from shared.api.access import access_of, must_be_person
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
        access = access_of(request)
        if what := view.personal_actions.get(view.action_name()):
            must_be_person(access, what)
        if view.action_name() in view.company_actions:
            self.message = NOT_FOR_ALL.format(scope)
            return access.may_for_all(scope)
        self.message = f"This needs {scope}; your role or token does not have it."
        return access.may(scope)


NOT_FOR_ALL = (
    "This changes what all sites work by. It needs {} for all sites, which a role at one of "
    "several sites does not give; ask who administers the company."
)


def must_for_all(request: Any, scope: str) -> None:
    """Refuse a page's change of what belongs to all sites to who has no right for all of them."""
    if not request.access.may_for_all(scope):
        raise PermissionDenied(NOT_FOR_ALL.format(scope))


Page = Callable[..., HttpResponse]


def needs(scope: str, *, for_all: bool = False) -> Callable[[Page], Page]:
    """
    Guard a page: sign in first, hold the scope, and work at one site.

    The page finds `request.access` and `request.site`: the site named by `?site=CODE`, else the
    one used last, else the first at which the scope is held. `for_all` asks for the scope for
    what belongs to all sites.
    """
    if scope not in SCOPES:
        raise ValueError(f"No role knows {scope}.")

    def guard(page: Page) -> Page:
        @functools.wraps(page)
        def guarded(request: Any, *args: Any, **kwargs: Any) -> HttpResponse:
            access = access_of(request)
            places = list(access.scopes_by_site) if for_all else access.sites_with(scope)
            sites = Site.objects.in_bulk(places)
            if not sites:
                if request.user.is_superuser and not Site.objects.exists():
                    return redirect("start")
                raise PermissionDenied(f"This page needs {scope}; your role does not have it.")
            request.access = access
            request.site = _chosen(request, sites)
            if for_all:
                must_for_all(request, scope)
            return page(request, *args, **kwargs)

        guarded.scope = scope  # type: ignore[attr-defined]
        return login_required(guarded)

    return guard


def signed_in(page: Page) -> Page:
    """
    Guard a page that everybody who signs in may open, whatever their role.

    `request.access` and `request.site` are set where the person has a role somewhere, so that the
    page names the site and shows only the ways that are open.
    """

    @functools.wraps(page)
    def guarded(request: Any, *args: Any, **kwargs: Any) -> HttpResponse:
        access = access_of(request)
        sites = Site.objects.in_bulk(list(access.scopes_by_site))
        if sites:
            request.access, request.site = access, _chosen(request, sites)
        return page(request, *args, **kwargs)

    return login_required(guarded)


def _chosen(request: HttpRequest, sites: dict[int, Site]) -> Site:
    asked = request.GET.get("site")
    if asked:
        for site in sites.values():
            if site.code == asked:
                request.session["site"] = site.pk
                return site
        raise PermissionDenied(f"There is no site {asked} that you may work at.")
    return sites.get(request.session.get("site", 0)) or sites[min(sites)]
