"""What the caller of this request may do, and at which sites."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Exists, FilteredRelation, Model, Q, QuerySet

from shared.access.models import AccessToken, CompanyMembership, Role, Site, User
from shared.access.ownership import site_id_of, site_path_of
from shared.api.roles import PERSONAL, ROLES, SCOPES
from shared.errors import ShopError


@dataclass(frozen=True)
class Access:
    """Scopes at each site, and those for what belongs to all sites; empty for a stranger."""

    scopes_by_site: Mapping[int, frozenset[str]] = field(default_factory=dict)
    named_for_all: Callable[[], frozenset[str]] = frozenset
    """Returns the scopes of a role held for all sites; read from the tables when it is asked."""
    is_integration: bool = False
    """Whether a program is behind the account: a role of an integration, at a site or for all."""
    sites: tuple[int, ...] = ()
    """All sites as they were when the scopes were read, so that both fit each other."""

    def sites_with(self, scope: str) -> list[int]:
        """Return the ids of the sites at which the scope is held, in ascending order."""
        return sorted(site for site, scopes in self.scopes_by_site.items() if scope in scopes)

    def may(self, scope: str, site_id: int | None = None) -> bool:
        """Tell whether the scope is held at a site, or anywhere when none is named."""
        if site_id is None:
            return any(scope in scopes for scopes in self.scopes_by_site.values())
        return scope in self.scopes_by_site.get(site_id, frozenset())

    def for_all(self) -> frozenset[str]:
        """
        Return the scopes held for what belongs to all sites, such as a material.

        They are those of a role for all sites, and those held at each of the sites: with one site
        whoever holds a scope holds it for all.
        """
        held = [self.scopes_by_site.get(site, frozenset()) for site in self.sites]
        everywhere = frozenset.intersection(*held) if held else frozenset()
        return everywhere | self.named_for_all()

    def may_for_all(self, scope: str) -> bool:
        """Tell whether the scope is held for what belongs to all sites."""
        return scope in self.for_all()

    def may_row(self, scope: str, row: Model) -> bool:
        """
        Tell whether this may be done to a row: the scope is held at the very site it belongs to.

        A row of no site, such as a material, is open to who holds the scope anywhere.
        """
        return self.may(scope, site_id_of(row))

    def rows(self, rows: QuerySet[Any], scope: str) -> QuerySet[Any]:
        """Return the rows for which `may_row` says yes."""
        path = site_path_of(rows.model)
        if path is None:
            return rows if self.may(scope) else rows.none()
        return rows.filter(**{f"{path}__in": self.sites_with(scope)})


def access_of_user(user: User) -> Access:
    """Return what a person may do: all their roles at each of their sites."""
    if not user.is_active:
        return Access()
    if user.is_superuser:
        sites = tuple(Site.objects.values_list("pk", flat=True))
        return Access(dict.fromkeys(sites, SCOPES), lambda: SCOPES, sites=sites)
    own = FilteredRelation("memberships", condition=Q(memberships__user=user))
    for_all = CompanyMembership.objects.filter(user=user, role=Role.INTEGRATION)
    asked = Site.objects.annotate(own=own, for_all=Exists(for_all)).order_by("pk")
    rows = asked.values_list("pk", "own__role", "for_all")
    found: dict[int, frozenset[str]] = {}
    sites = tuple(dict.fromkeys(site for site, _, _ in rows))
    for site, role, _ in rows:
        if role is not None:
            found[site] = found.get(site, frozenset()) | ROLES[role]
    program = any(role == Role.INTEGRATION or for_all for _, role, for_all in rows)
    barred = PERSONAL if program else frozenset()
    allowed = {site: scopes - barred for site, scopes in found.items()}
    return Access(allowed, lambda: _named_for_all(user) - barred, program, sites)


def _named_for_all(user: User) -> frozenset[str]:
    roles = CompanyMembership.objects.filter(user=user).values_list("role", flat=True)
    return frozenset(scope for role in roles for scope in ROLES[role])


def must_be_person(access: Access, what: str) -> None:
    """Refuse what a person must decide to an account behind which a program is."""
    if access.is_integration:
        words = f"{what} is a person's judgement, which an integration's account may not make."
        raise ShopError(words, "for_a_person", 403)


def access_of_token(token: AccessToken) -> Access:
    """Return what a token may do: its scopes at its sites, never more than its owner may."""
    owner = access_of_user(token.owner)
    scopes = frozenset(token.scopes)
    held = owner.scopes_by_site
    sites = list(token.sites.values_list("pk", flat=True))

    def named_for_all() -> frozenset[str]:
        everywhere = set(owner.sites) <= set(sites)
        return owner.named_for_all() & scopes if everywhere else frozenset()

    allowed = {site: held[site] & scopes for site in sites if site in held}
    return Access(allowed, named_for_all, owner.is_integration, owner.sites)


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
