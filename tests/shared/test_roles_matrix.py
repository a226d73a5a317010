"""Who may do what is exactly the table: every address, method and kind of caller."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime

import pytest
from django.db import transaction
from django.urls import URLPattern, URLResolver, get_resolver

from shared.access.models import AccessToken, CompanyMembership, Membership, Site, User
from shared.api.roles import ROLES, SCOPES
from tests.callers import caller, make_site, make_user
from tests.shared.role_table import ANYBODY, FOR_ALL, SIGNED_IN, TABLE

pytestmark = pytest.mark.django_db
TOKENS = {"/api/v1/access-tokens/{}/rotations", "/api/v1/access-tokens/{}/revocations"}
"""No token renews or takes back another that may do more than it may."""
METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")
EXAMPLES = {"view": "above", "day": "2026-11-30", "week": "2026-W49", "name": "mix", "token": "x"}


def addresses(patterns: list, before: str = "/") -> Iterator[tuple[str, str, str]]:
    """Yield method, template and example of every address of the API."""
    for pattern in patterns:
        path = before + str(pattern.pattern).removeprefix("^").removesuffix("$").removesuffix(
            "\\Z"
        )
        if isinstance(pattern, URLResolver):
            yield from addresses(pattern.url_patterns, path)
        elif isinstance(pattern, URLPattern) and path.startswith("/api/"):
            template = re.sub(r"\(\?P<\w+>(?:[^()]|\([^()]*\))*\)|<[^>]+>", "{}", path)
            example = re.sub(r"\(\?P<(\w+)>(?:[^()]|\([^()]*\))*\)|<(?:\w+:)?(\w+)>", fill, path)
            for method in methods(pattern.callback):
                yield method, template, example


def fill(found: re.Match) -> str:
    return EXAMPLES.get(found[1] or found[2], "1")


def methods(view) -> list[str]:
    actions = getattr(view, "actions", None)
    if actions:
        return [method.upper() for method in actions]
    kind = getattr(view, "cls", None) or view.view_class
    return [method for method in METHODS if hasattr(kind, method.lower())]


FOUND = sorted(set(addresses(get_resolver().url_patterns)))
OPEN = ANYBODY | SIGNED_IN


def test_the_table_names_every_address_and_no_other():
    found = {(method, template) for method, template, _ in FOUND}
    assert sorted(found - OPEN - set(TABLE)) == [], "not in the table"
    assert sorted((set(TABLE) | OPEN) - found) == [], "in the table, but nowhere else"


def test_every_scope_of_the_table_is_one_of_a_role():
    assert set(TABLE.values()) <= SCOPES


def ask(client, method: str, path: str) -> int:
    """Return the status of a call with an empty body."""
    headers = {"Idempotency-Key": "matrix-key-for-all-calls"}
    kind = "application/merge-patch+json" if method == "PATCH" else "application/json"
    body = b"" if method in ("GET", "DELETE") else b"{}"
    client.raise_request_exception = True
    return client.generic(method, path, body, kind, headers=headers).status_code


@dataclass
class Cast:
    """The callers of all kinds, made once for the whole table."""

    roles: dict
    everywhere: dict
    for_all: dict
    boss: User
    chief: User
    here: Site
    elsewhere: Site
    gone: object
    barred: object


def at_both(role: str, here: Site, elsewhere: Site):
    """Return the client of somebody with the same role at each site."""
    user = make_user(role, here)
    Membership.objects.create(user=user, site=elsewhere, role=role)
    return caller(user, [here, elsewhere])


def with_one_for_all(role: str, here: Site, elsewhere: Site):
    """Return the client of a technician of one site with a role for all sites."""
    user = make_user("technician", here)
    CompanyMembership.objects.create(user=user, role=role)
    return caller(user, [here, elsewhere])


@pytest.fixture(scope="module")
def cast(django_db_setup, django_db_blocker):
    """Make the callers in a transaction that is undone at the end."""
    with django_db_blocker.unblock(), transaction.atomic():
        here, elsewhere = make_site("main", is_default=True), make_site("elsewhere")
        boss, chief, gone, barred = (make_user("administrator", here) for _ in range(4))
        CompanyMembership.objects.create(user=chief, role="administrator")
        Membership.objects.create(user=chief, site=elsewhere, role="technician")
        if not AccessToken.objects.filter(pk=1).exists():
            # The addresses name row 1; a database used by tests before counts on from theirs.
            AccessToken.objects.create(
                pk=1,
                owner=boss,
                name="first",
                digest="1",
                scopes=sorted(SCOPES),
                created_at=datetime.now(UTC),
            ).sites.set([here])
        found = Cast(
            {role: caller(make_user(role, here), [here]) for role in ROLES},
            {role: at_both(role, here, elsewhere) for role in ROLES},
            {role: with_one_for_all(role, here, elsewhere) for role in ROLES},
            boss,
            chief,
            here,
            elsewhere,
            caller(gone, [here]),
            caller(barred, [here]),
        )
        Membership.objects.filter(user=gone).delete()
        User.objects.filter(pk=barred.pk).update(is_active=False)
        yield found
        transaction.set_rollback(True)


@pytest.mark.parametrize(
    ("method", "template", "path"),
    [row for row in FOUND if row[:2] not in OPEN],
    ids=lambda value: str(value).replace("/api/v1/", ""),
)
def test_each_caller_gets_what_the_table_says(cast, method, template, path):
    scope = TABLE[method, template]
    wrong = {}

    def expect(who, client, refused=None):
        with transaction.atomic():
            status = ask(client, method, path)
            transaction.set_rollback(True)
        right = status == refused if refused else status not in (401, 403)
        if not right or status >= 500:
            wrong[who] = status

    expect("stranger", caller(None), 401)
    for_all = (method, template) in FOR_ALL
    for role, scopes in ROLES.items():
        expect(role, cast.roles[role], None if scope in scopes and not for_all else 403)
        expect(f"{role} at each site", cast.everywhere[role], None if scope in scopes else 403)
        if for_all:
            expect(f"{role} for all", cast.for_all[role], None if scope in scopes else 403)
    with transaction.atomic():
        boss, sites = cast.boss, [cast.here]
        if for_all:
            boss, sites = cast.chief, [cast.here, cast.elsewhere]
            expect("token for one of the sites", caller(boss, sites[:1]), 403)
        expect("token without the scope", caller(boss, sites, SCOPES - {scope}), 403)
        wider = 403 if template in TOKENS else None
        expect("token with only the scope", caller(boss, sites, {scope}), wider)
        expect("token for a site of others", caller(cast.boss, [cast.elsewhere]), 403)
        transaction.set_rollback(True)
    expect("person without a role any more", cast.gone, 403)
    expect("person who may not sign in any more", cast.barred, 401)
    assert wrong == {}, f"{method} {template} needs {scope}"
