"""What the caller of this request may do, and at which sites."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.db.models import QuerySet

from shared.access.models import AccessToken, Membership, Site, User
from shared.api.roles import ROLES, SCOPES


@dataclass(frozen=True)
class Access:
    """Scopes at each site; empty for a stranger."""

    scopes_by_site: Mapping[int, frozenset[str]] = field(default_factory=dict)

    def sites_with(self, scope: str) -> list[int]:
        """Return the ids of the sites at which the scope is held, in ascending order."""
        return sorted(site for site, scopes in self.scopes_by_site.items() if scope in scopes)

    def may(self, scope: str, site_id: int | None = None) -> bool:
        """Tell whether the scope is held at a site, or anywhere when none is named."""
        if site_id is None:
            return any(scope in scopes for scopes in self.scopes_by_site.values())
        return scope in self.scopes_by_site.get(site_id, frozenset())

    def filter(self, rows: QuerySet[Any], scope: str, path: str) -> QuerySet[Any]:
        """Return the rows that belong to sites with the scope; `path` leads to the site."""
        return rows.filter(**{f"{path}__in": self.sites_with(scope)})


def access_of_user(user: User) -> Access:
    """Return what a person may do: all their roles at each of their sites."""
    if not user.is_active:
        return Access()
    if user.is_superuser:
        return Access(dict.fromkeys(Site.objects.values_list("pk", flat=True), SCOPES))
    found: dict[int, frozenset[str]] = {}
    for site, role in Membership.objects.filter(user=user).values_list("site", "role"):
        found[site] = found.get(site, frozenset()) | ROLES[role]
    return Access(found)


def access_of_token(token: AccessToken) -> Access:
    """Return what a token may do: its scopes at its sites, never more than its owner may."""
    owner = access_of_user(token.owner).scopes_by_site
    scopes = frozenset(token.scopes)
    sites = token.sites.values_list("pk", flat=True)
    return Access({site: owner[site] & scopes for site in sites if site in owner})


def access_of(request: Any) -> Access:
    """Return the access of a request, worked out once."""
    bare = getattr(request, "_request", request)
    token = getattr(request, "auth", None)
    who = (getattr(request.user, "pk", None), getattr(token, "pk", None))
    kept = getattr(bare, "_access", None)
    if kept is None or kept[0] != who:
        if isinstance(token, AccessToken):
            kept = (who, access_of_token(token))
        elif request.user.is_authenticated:
            kept = (who, access_of_user(request.user))
        else:
            kept = (who, Access())
        bare._access = kept
    return kept[1]
