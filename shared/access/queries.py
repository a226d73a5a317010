"""Reading sites, people and tokens."""

from __future__ import annotations

from collections.abc import Collection

from django.db.models import Count, Q, QuerySet

from shared.access.models import AccessToken, CompanyMembership, Membership, Role, Site, User


def people_of(site: Site) -> QuerySet[User]:
    """Return everybody with a role at a site, and those who have no role anywhere."""
    wanted = Q(memberships__site=site) | Q(memberships__isnull=True, is_superuser=False)
    return User.objects.filter(wanted).distinct().order_by("username")


def roles_at(user: User, site: Site) -> list[str]:
    """Return the roles of a person at one site."""
    rows = Membership.objects.filter(user=user, site=site)
    return list(rows.order_by("role").values_list("role", flat=True))


def company_roles_of(user: User) -> list[str]:
    """Return the roles a person has for what belongs to all sites."""
    rows = CompanyMembership.objects.filter(user=user)
    return list(rows.order_by("role").values_list("role", flat=True))


def roles_at_every_site() -> list[tuple[int, str]]:
    """Return who holds which role at every site there is, as pairs of user and role."""
    sites = Site.objects.count()
    rows = Membership.objects.values("user", "role").annotate(sites=Count("site", distinct=True))
    rows = rows.filter(sites=sites) if sites else rows.none()
    return list(rows.order_by("user", "role").values_list("user", "role"))


def tokens_of_every_site() -> QuerySet[AccessToken]:
    """Return the tokens in use that are good for every site there is."""
    rows = AccessToken.objects.filter(revoked_at__isnull=True).annotate(places=Count("sites"))
    return rows.filter(places=Site.objects.count(), places__gt=0)


def sites_of(user: User) -> list[int]:
    """Return the ids of the sites a person belongs to."""
    return sorted(set(Membership.objects.filter(user=user).values_list("site", flat=True)))


def tokens_of(user: User) -> QuerySet[AccessToken]:
    """Return a person's tokens, newest first."""
    return AccessToken.objects.filter(owner=user).prefetch_related("sites")


def tokens_within(rows: QuerySet[AccessToken], sites: Collection[int]) -> QuerySet[AccessToken]:
    """Return those of some tokens that open sites, and no other than these."""
    beyond = AccessToken.objects.filter(sites__in=Site.objects.exclude(pk__in=sites))
    return rows.filter(sites__in=sites).exclude(pk__in=beyond.values("pk")).distinct()


def people_at(sites: Collection[int]) -> QuerySet[User]:
    """Return everybody with a role at one of some sites."""
    return User.objects.filter(memberships__site__in=sites).distinct()


def is_last_administrator(user: User, site: Site) -> bool:
    """Tell whether nobody else who can sign in runs the site."""
    others = Membership.objects.filter(
        site=site, role=Role.ADMINISTRATOR, user__is_active=True
    ).exclude(user=user)
    own = Membership.objects.filter(site=site, role=Role.ADMINISTRATOR, user=user)
    return own.exists() and not others.exists()


def is_unfounded() -> bool:
    """Tell whether this installation has neither a site nor anybody who may sign in."""
    return not Site.objects.exists() and not User.objects.exists()
