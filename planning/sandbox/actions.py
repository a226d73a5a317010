"""
The sandbox: the invented shop in a database of its own, for other systems to try calls on.

Each night it is made anew. Accounts that the example does not have, all tokens and the addresses
told of events stay, so that a system under trial finds its way in again in the morning.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.core.management.color import no_style
from django.db import connection, transaction

from shared import append_only
from shared.access.models import AccessToken, CompanyMembership, Membership, Site, User
from shared.errors import ShopError
from shared.events.placing import place_waiting
from shared.events.queries import end_of_feed
from shared.hooks.models import Endpoint

SITE = "DEMO"
"""Code of the example's site."""
STAY = {"django_migrations", "django_content_type", "auth_permission"}
"""Tables that the program fills and no shop."""


@dataclass(frozen=True)
class Kept:
    """What outlasts a night."""

    people: list[User]
    roles: list[tuple[str, str]]
    roles_for_all: list[tuple[str, str]]
    tokens: list[tuple[str, AccessToken]]
    endpoints: list[Endpoint]


def make_anew(*, orders: bool = True) -> Kept:
    """
    Empty the sandbox, load the example as of now, and put back who and what outlasts a night.

    All in one transaction: a night that fails leaves the sandbox as it was.

    Raises
    ------
    ShopError
        When this installation is no sandbox, or holds a shop of its own.
    """
    refuse_a_real_shop()
    documents = [path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()]
    with transaction.atomic():
        kept = _keep()
        _empty()
        given = {"password": settings.SANDBOX_PASSWORD, "no_orders": not orders}
        call_command("load_demo", stdout=StringIO(), **given)
        _put_back(kept)
    for path in documents:  # of rows that are gone; the example's own are not among them
        path.unlink(missing_ok=True)
    return kept


def refuse_a_real_shop() -> None:
    """Let nothing be emptied that is not said to be a sandbox and holds the example."""
    if not settings.SANDBOX:
        words = "This installation is no sandbox: SANDBOX=1 is not set, and nothing was changed."
        raise ShopError(words)
    if Site.objects.exists() and not Site.objects.filter(code=SITE).exists():
        words = (
            "SANDBOX=1 is set, but this installation holds a shop of its own. Nothing was "
            "changed: give the sandbox a data folder (SHOP_DATA) and database of its own."
        )
        raise ShopError(words)


def _keep() -> Kept:
    example = _names_of_example()
    own = User.objects.exclude(username__in=example).order_by("pk")
    roles = Membership.objects.filter(user__in=own, site__code=SITE)
    return Kept(
        list(own),
        list(roles.values_list("user__username", "role")),
        list(CompanyMembership.objects.filter(user__in=own).values_list("user__username", "role")),
        [
            (token.owner.username, token)
            for token in AccessToken.objects.filter(
                revoked_at=None, sites__code=SITE
            ).select_related("owner")
        ],
        list(Endpoint.objects.filter(site__code=SITE)),
    )


def _names_of_example() -> set[str]:
    text = (Path(settings.ROOT) / "fixtures" / "demo" / "shop.json").read_text(encoding="utf-8")
    return {user["username"] for user in json.loads(text)["users"]}


def _empty() -> None:
    tables = set(connection.introspection.django_table_names(only_existing=True)) - STAY
    statements = connection.ops.sql_flush(no_style(), sorted(tables), reset_sequences=True)
    append_only.remove(connection)
    connection.ops.execute_sql_flush(statements)
    append_only.install(connection)


def _put_back(kept: Kept) -> None:
    site = Site.objects.get(code=SITE)
    for user in kept.people:
        user.pk = None
        user.save(force_insert=True)
    people = {user.username: user for user in User.objects.all()}
    for name, role in kept.roles:
        Membership.objects.create(user=people[name], site=site, role=role)
    for name, role in kept.roles_for_all:
        CompanyMembership.objects.create(user=people[name], role=role)
    for name, token in kept.tokens:
        token.pk, token.owner = None, people[name]
        token.save(force_insert=True)
        token.sites.set([site])
    place_waiting()
    for endpoint in kept.endpoints:
        endpoint.pk, endpoint.site, endpoint.read_to = None, site, end_of_feed()
        endpoint.lease_until, endpoint.claimed_by = None, ""
        endpoint.save(force_insert=True)
