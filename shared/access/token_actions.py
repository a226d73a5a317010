"""
Tokens made narrower, given new secrets and taken back, by callers who are no wider themselves.

Whoever changes a token must hold the right to run accounts, and all that the token may do, at
each of its sites. So no token makes, wakes or renews another that is wider than itself.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from shared import clock
from shared.access.actions import SHOWN
from shared.access.models import AccessToken, Site
from shared.api.access import Access
from shared.api.authentication import digest, new_secret
from shared.change import change
from shared.errors import Invalid, ShopError


def check_covers(
    access: Access, *, sites: Collection[Site], scopes: Collection[str], own: Any = None,
    expires_at: datetime | None = None,
) -> None:  # fmt: skip
    """
    Refuse a token that may do more than its maker, at another site, or for longer.

    Parameters
    ----------
    access : Access
        Of the caller.
    own : AccessToken, optional
        The token the caller came with; what it makes ends no later than it does.
    """
    for site in sites:
        if not access.may("accounts:write", site.pk):
            raise ShopError(f"You do not run {site}.", "not_yours", 403)
        if beyond := sorted(scope for scope in scopes if not access.may(scope, site.pk)):
            words = (
                f"scopes names {', '.join(beyond)}, which you do not have at {site}; a token may "
                "do no more than whoever makes it."
            )
            raise Invalid.one("scopes", "beyond_maker", words)
    last = getattr(own, "expires_at", None)
    if last is not None and (expires_at is None or expires_at > last):
        words = f"expires_at must be no later than {last.isoformat()}, when your own token ends."
        raise Invalid.one("expires_at", "beyond_maker", words)


@transaction.atomic
def rotate(*, token: AccessToken, overlap_h: int, access: Access) -> str:
    """
    Give a token a new secret and return it; the one before is taken for `overlap_h` hours more.

    The row stays the same, so that an Idempotency-Key sent with either secret is one key.
    """
    _check_may(token, access)
    if token.revoked_at is not None:
        raise ShopError(f"{token.name} was taken back; make a new token.", "token_revoked")
    secret = new_secret()
    change(
        token,
        prefix=secret[:SHOWN],
        old_digest=token.digest if overlap_h else "",
        old_secret_until=clock.now() + timedelta(hours=overlap_h) if overlap_h else None,
        digest=digest(secret),
    )
    return secret


@transaction.atomic
def narrow(
    *, token: AccessToken, access: Access, name: str = "", sites: Collection[Site] = (),
    scopes: Collection[str] = (), expires_at: datetime | None = None,
) -> AccessToken:  # fmt: skip
    """Leave a token fewer scopes, fewer sites or less time; refuse more of any."""
    _check_may(token, access)
    if more := sorted(set(scopes) - set(token.scopes)):
        words = f"scopes names {', '.join(more)}, which the token does not have; make a new one."
        raise Invalid.one("scopes", "beyond_token", words)
    held = {site.pk for site in token.sites.all()}
    if more := sorted(site.code for site in sites if site.pk not in held):
        words = f"sites names {', '.join(more)}, which the token does not open; make a new one."
        raise Invalid.one("sites", "beyond_token", words)
    if expires_at is not None and token.expires_at is not None and expires_at > token.expires_at:
        words = f"expires_at must be no later than {token.expires_at.isoformat()}, as now set."
        raise Invalid.one("expires_at", "beyond_token", words)
    given = {"name": name, "scopes": sorted(set(scopes)), "expires_at": expires_at}
    change(token, **{field: value for field, value in given.items() if value})
    if sites:
        token.sites.set(sites)
    return token


@transaction.atomic
def revoke(*, token: AccessToken, access: Access) -> AccessToken:
    """Take a token back for good; a second time changes nothing."""
    _check_may(token, access)
    if token.revoked_at is None:
        change(token, revoked_at=clock.now())
    return token


def _check_may(token: AccessToken, access: Access) -> None:
    sites = list(token.sites.all())
    if not sites:
        raise ShopError(f"{token.name} opens no site any more.", "not_yours", 403)
    for site in sites:
        wider = [scope for scope in token.scopes if not access.may(scope, site.pk)]
        if wider or not access.may("accounts:write", site.pk):
            words = (
                f"{token.name} may do more than you may, or works at a site you do not run; ask "
                "an administrator there."
            )
            raise ShopError(words, "not_yours", 403)
