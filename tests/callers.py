"""Clients of the API for tests, and the people and tokens behind them."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from typing import Any

from rest_framework.test import APIClient

from shared.access.models import AccessToken, Membership, Site, User
from shared.api.authentication import digest, new_secret
from shared.api.roles import SCOPES
from tests.closed import check_answer

_numbers = itertools.count(1)


def fresh_key() -> str:
    """Return an Idempotency-Key that no test used before."""
    return f"test-key-{next(_numbers):012d}"


class Caller(APIClient):
    """A client that sends a fresh Idempotency-Key with every POST unless one is given."""

    def request(self, **kwargs: Any) -> Any:
        """Send a call; its answer must be as the closed description says."""
        response = super().request(**kwargs)
        check_answer(kwargs, response)
        return response

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


def make_site(code: str, **fields: Any) -> Site:
    fields.setdefault("time_zone", "Europe/Berlin")
    return Site.objects.create(code=code, name=f"Site {code}", **fields)


def make_user(role: str, site: Site, username: str = "") -> User:
    """Return somebody with one role at one site."""
    user = User.objects.create_user(username or f"{role}-{site.code}-{next(_numbers)}")
    if role:
        Membership.objects.create(user=user, site=site, role=role)
    return user


def make_token(user: User, sites: list[Site], scopes: Iterable[str] = SCOPES) -> str:
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


def caller(
    user: User | None, sites: Sequence[Site] = (), scopes: Iterable[str] = SCOPES
) -> Caller:
    """Return a client with a token of the person; without a person, a stranger's client."""
    client = Caller()
    if user is not None:
        secret = make_token(user, list(sites), scopes)
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    return client
