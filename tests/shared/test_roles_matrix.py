"""Who may do what is exactly the table: every address, method and kind of caller."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from django.db import transaction
from django.urls import URLPattern, URLResolver, get_resolver

from shared.access.models import Membership, Site, User
from shared.api.roles import ROLES, SCOPES
from tests.callers import caller, make_site, make_user
from tests.shared.role_table import ANYBODY, SIGNED_IN, TABLE

pytestmark = pytest.mark.django_db
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
    boss: User
    here: Site
    elsewhere: Site
    gone: object
    barred: object


@pytest.fixture(scope="module")
def cast(django_db_setup, django_db_blocker):
    """Make the callers in a transaction that is undone at the end."""
    with django_db_blocker.unblock(), transaction.atomic():
        here, elsewhere = make_site("main", is_default=True), make_site("elsewhere")
        boss, gone, barred = (make_user("administrator", here) for _ in range(3))
        found = Cast(
            {role: caller(make_user(role, here), [here]) for role in ROLES},
            boss,
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
    for role, scopes in ROLES.items():
        expect(role, cast.roles[role], None if scope in scopes else 403)
    with transaction.atomic():
        expect("token without the scope", caller(cast.boss, [cast.here], SCOPES - {scope}), 403)
        expect("token with only the scope", caller(cast.boss, [cast.here], {scope}))
        expect("token for a site of others", caller(cast.boss, [cast.elsewhere]), 403)
        transaction.set_rollback(True)
    expect("person without a role any more", cast.gone, 403)
    expect("person who may not sign in any more", cast.barred, 401)
    assert wrong == {}, f"{method} {template} needs {scope}"
