"""How a caller shows who they are: a token in the header, or the cookie of the pages."""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Q
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, SessionAuthentication
from rest_framework.exceptions import AuthenticationFailed

from shared import clock
from shared.access.models import AccessToken, User

MARK = "shop_"
"""Begins every token, so that a scanner can spot one that leaked."""

SEEN_EVERY = timedelta(minutes=1)


def new_secret() -> str:
    """Return a fresh token of 256 random bits."""
    return MARK + secrets.token_urlsafe(32)


def digest(secret: str) -> str:
    """Return what is kept of a token. It is random, so a plain hash is enough."""
    return hashlib.sha256(secret.encode()).hexdigest()


def _token_of(mark: str, now: datetime) -> AccessToken:
    """Return the token of a hash: of its secret, or of the one before while that is taken."""
    before = Q(old_digest=mark, old_secret_until__gt=now)
    return AccessToken.objects.select_related("owner").get(Q(digest=mark) | before)


class BearerAuthentication(BaseAuthentication):
    """`Authorization: Bearer shop_…`."""

    def authenticate(self, request: Any) -> tuple[User, AccessToken] | None:
        """Return the owner and the token, or nothing when no token was sent."""
        kind, _, secret = request.headers.get("Authorization", "").partition(" ")
        if not kind:
            return None
        if kind.lower() != "bearer" or not secret.strip():
            raise AuthenticationFailed("Send the token as: Authorization: Bearer TOKEN.")
        now = clock.now()
        try:
            token = _token_of(digest(secret.strip()), now)
        except AccessToken.DoesNotExist:
            raise AuthenticationFailed("This token is not known.") from None
        if token.revoked_at or not token.owner.is_active:
            raise AuthenticationFailed("This token was taken back.")
        if token.expires_at and token.expires_at <= now:
            raise AuthenticationFailed("This token has expired; ask for a new one.")
        if token.last_used_at is None or now - token.last_used_at > SEEN_EVERY:
            AccessToken.objects.filter(pk=token.pk).update(last_used_at=now)
        return token.owner, token

    def authenticate_header(self, request: Any) -> str:
        """Return the challenge that makes the answer a 401."""
        return 'Bearer realm="shop"'


class CookieAuthentication(SessionAuthentication):
    """The pages' sign-in cookie, with the CSRF token on every unsafe method."""


class _BearerScheme(OpenApiAuthenticationExtension):
    target_class = BearerAuthentication
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer"}


class _CookieScheme(OpenApiAuthenticationExtension):
    target_class = CookieAuthentication
    name = "cookie"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "apiKey", "in": "cookie", "name": "sessionid"}
