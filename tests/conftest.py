"""What all tests share: a small site, people of every role, and callers that speak for them."""

from __future__ import annotations

import itertools
import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
import time_machine
from django.conf import settings
from django.db import connection
from django.test import TransactionTestCase
from rest_framework.test import APIClient

from shared import append_only
from shared.access.models import AccessToken, Membership, Site, User
from shared.api.authentication import digest, new_secret
from shared.api.roles import ROLES, SCOPES

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
"""A Wednesday in ISO week 48; the frozen clock begins here."""

_numbers = itertools.count(1)


_empty_tables = TransactionTestCase._fixture_teardown


def _empty_tables_without_triggers(case: TransactionTestCase) -> None:
    """Empty all tables after a test; only for that the append-only triggers come off."""
    append_only.remove(connection)
    try:
        _empty_tables(case)
    finally:
        append_only.install(connection)


TransactionTestCase._fixture_teardown = _empty_tables_without_triggers


def pytest_unconfigure(config: pytest.Config) -> None:
    """Remove the tests' own data folder, once, when all workers are done with it."""
    if not hasattr(config, "workerinput") and "shop-test-" in str(settings.DATA):
        shutil.rmtree(settings.DATA, ignore_errors=True)


def fresh_key() -> str:
    """Return an Idempotency-Key that no test used before."""
    return f"test-key-{next(_numbers):012d}"


class Caller(APIClient):
    """A client that sends a fresh Idempotency-Key with every POST unless one is given."""

    def post(self, path: str, data: Any = None, **kwargs: Any) -> Any:
        headers = dict(kwargs.pop("headers", None) or {})
        headers.setdefault("Idempotency-Key", fresh_key())
        return super().post(path, data, headers=headers, **kwargs)

    def patch(self, path: str, data: Any = None, *, etag: str | None = None, **kwargs: Any) -> Any:
        headers = dict(kwargs.pop("headers", None) or {})
        if etag is not None:
            headers["If-Match"] = etag
        return super().patch(path, data, headers=headers, **kwargs)

    def delete(
        self, path: str, data: Any = None, *, etag: str | None = None, **kwargs: Any
    ) -> Any:
        headers = dict(kwargs.pop("headers", None) or {})
        if etag is not None:
            headers["If-Match"] = etag
        return super().delete(path, data, headers=headers, **kwargs)


@pytest.fixture
def frozen() -> Iterator[time_machine.Traveller]:
    """Stop the clock at Wednesday noon; `frozen.shift(...)` and `frozen.move_to(...)` move it."""
    with time_machine.travel(NOON, tick=False) as traveller:
        yield traveller


@pytest.fixture
def site(db: None) -> Site:
    """The usual site of a test."""
    return make_site("main", is_default=True)


@pytest.fixture
def other_site(db: None) -> Site:
    """A site that people of `site` do not belong to."""
    return make_site("north", time_zone="America/Halifax")


def make_site(code: str, **fields: Any) -> Site:
    fields.setdefault("time_zone", "Europe/Berlin")
    return Site.objects.create(code=code, name=f"Site {code}", **fields)


def make_user(role: str, site: Site, username: str = "") -> User:
    """Return somebody with one role at one site."""
    user = User.objects.create_user(username or f"{role}-{site.code}-{next(_numbers)}")
    if role:
        Membership.objects.create(user=user, site=site, role=role)
    return user


def make_token(user: User, sites: list[Site], scopes: Any = SCOPES) -> str:
    """Return the secret of a new token."""
    secret = new_secret()
    token = AccessToken.objects.create(
        owner=user,
        name="test",
        prefix=secret[:12],
        digest=digest(secret),
        scopes=sorted(scopes),
        created_at=datetime.now(UTC),
    )
    token.sites.set(sites)
    return secret


def caller(user: User | None, sites: list[Site] = (), scopes: Any = SCOPES) -> Caller:  # type: ignore[assignment]
    """Return a client with a token of the person; without a person, a stranger's client."""
    client = Caller()
    if user is not None:
        secret = make_token(user, list(sites), scopes)
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    return client


@pytest.fixture
def api(site: Site) -> Callable[..., Caller]:
    """`api("planner")` is a client of that role at the usual site, `api(None)` a stranger's."""

    def make(role: str | None = "administrator", at: Site | None = None) -> Caller:
        if role is None:
            return caller(None)
        assert role in ROLES, f"{role} is not a role"
        place = at or site
        return caller(make_user(role, place), [place])

    return make


@pytest.fixture
def browser_of(site: Site) -> Callable[..., Any]:
    """`browser_of("planner")` is a Django client signed in to the pages as that role."""
    from django.test import Client

    def make(role: str = "administrator", at: Site | None = None) -> Client:
        client = Client()
        client.force_login(
            make_user(role, at or site), backend="django.contrib.auth.backends.ModelBackend"
        )
        return client

    return make
