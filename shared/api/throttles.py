"""
A brake for callers that run away.

Counts live in the cache and are not exact: this keeps a loop in somebody's program from slowing
the shop, and is no defence against an attack. Sign-in attempts are counted in the database.
"""

from __future__ import annotations

from typing import Any

from rest_framework.throttling import SimpleRateThrottle


class PerCaller(SimpleRateThrottle):
    """Calls per minute by token, else by person, else by address."""

    scope = "caller"

    def __init__(self) -> None:
        """Wait for the request: the rate depends on who calls."""

    def allow_request(self, request: Any, view: Any) -> bool:
        """Count this call under its caller, strangers with a lower rate."""
        known = bool(request.user and request.user.is_authenticated)
        self.scope = "caller" if known else "stranger"
        self.rate = self.get_rate()
        self.num_requests, self.duration = self.parse_rate(self.rate)
        return super().allow_request(request, view)

    def get_cache_key(self, request: Any, view: Any) -> str:
        """Return the name under which the caller is counted."""
        if request.auth is not None:
            who = f"token-{request.auth.pk}"
        elif request.user and request.user.is_authenticated:
            who = f"person-{request.user.pk}"
        else:
            who = f"address-{self.get_ident(request)}"
        return f"throttle-{self.scope}-{who}"
