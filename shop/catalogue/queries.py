"""Reading the rules of the catalogue and its proposed changes."""

from __future__ import annotations

from typing import Any

from django.db.models import Count, Q, QuerySet

from shared.access.models import CompanyMembership, Membership, Site, User
from shared.api.roles import ROLES
from shop.catalogue.guarded import model_of, words_for
from shop.catalogue.models import CatalogueChange, CatalogueRules

SCOPE = "materials:write"


def two_signatures() -> bool:
    """Whether the company asks for a second signature."""
    return CatalogueRules.objects.filter(pk=1, two_signatures=True).exists()


def orders_by_two() -> bool:
    """Tell whether who writes a purchase order may not approve it."""
    return CatalogueRules.objects.filter(pk=1, orders_by_two=True).exists()


def rules() -> CatalogueRules:
    """Return the rules, made on first use."""
    return CatalogueRules.objects.get_or_create(pk=1)[0]


def may_release() -> QuerySet[User]:
    """Return everybody who may change what all sites work by."""
    roles = [role for role, scopes in ROLES.items() if SCOPE in scopes]
    named = CompanyMembership.objects.filter(role__in=roles).values("user")
    everywhere = (
        Membership.objects.filter(role__in=roles)
        .values("user")
        .annotate(places=Count("site", distinct=True))
        .filter(places=Site.objects.count())
        .values("user")
    )
    everybody = Q(is_superuser=True) | Q(pk__in=named) | Q(pk__in=everywhere)
    return User.objects.filter(everybody, is_active=True)


def changes() -> QuerySet[CatalogueChange]:
    """Return the proposed changes, the newest first."""
    return CatalogueChange.objects.select_related("proposed_by", "decided_by").order_by("-id")


def lines_of(change: CatalogueChange) -> list[dict[str, Any]]:
    """Return the values of a change for people: field, what it was, what it is to be."""
    model = model_of(change.register)
    return [
        {
            "field": name,
            "name": words_for(model, name),
            "before": change.before.get(name),
            "after": change.after.get(name),
        }
        for name in dict.fromkeys([*change.before, *change.after])
    ]
