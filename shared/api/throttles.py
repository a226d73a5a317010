"""
A brake for callers that run away.

Counts live in the cache and are not exact: this keeps a loop in somebody's program from slowing
the shop, and is no defence against an attack. Sign-in attempts are counted in the database.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from rest_framework.throttling import SimpleRateThrottle


class RateLimit(NamedTuple):
    """A caller's limit now: how many calls in how many seconds, how many are left, and until."""

    policy: str
    quota: int
    window_s: int
    left: int
    again_s: int
    """Seconds until at least one more call is allowed again."""

    @property
    def headers(self) -> dict[str, str]:
        """Header fields as the IETF draft `ratelimit-headers`, version 10, has them."""
        return {
            "RateLimit-Policy": f'"{self.policy}";q={self.quota};w={self.window_s}',
            "RateLimit": f'"{self.policy}";r={self.left};t={self.again_s}',
        }


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
        allowed: bool = super().allow_request(request, view)
        self._tell(request)
        return allowed

    def _tell(self, request: Any) -> None:
        """Leave with the request what its answer tells of the limit; see `RateLimit`."""
        # Without a rate nothing is counted, and there is no key.
        if not self.num_requests or not self.duration or self.key is None:
            return
        left = max(self.num_requests - len(self.history), 0)
        oldest = self.history[-1] if self.history else self.now
        again_s = max(math.ceil(oldest + self.duration - self.now), 0)
        request._request.rate_limit = RateLimit(
            self.scope, self.num_requests, int(self.duration), left, again_s
        )

    def get_cache_key(self, request: Any, view: Any) -> str:
        """Return the name under which the caller is counted."""
        if request.auth is not None:
            who = f"token-{request.auth.pk}"
        elif request.user and request.user.is_authenticated:
            who = f"person-{request.user.pk}"
        else:
            who = f"address-{self.get_ident(request)}"
        return f"throttle-{self.scope}-{who}"
