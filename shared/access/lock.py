"""
Who may not try to sign in for a while.

A name tried too often from one address is locked there (django-axes). Guessing spread over many
addresses, or over many names, is stopped here. Whoever has signed in from an address before is not
shut out there by strangers who try the name elsewhere; `axes_reset_username NAME` frees a name.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from axes.attempts import get_cool_off_threshold
from axes.handlers.database import AxesDatabaseHandler
from axes.helpers import get_client_username
from axes.models import AccessAttempt, AccessLog
from django.db.models import QuerySet, Sum
from django.utils import timezone

MOST_FROM_AN_ADDRESS = 100
"""Failures from one address, over all names, within the time a lock lasts; no source."""
MOST_FOR_A_NAME = 50
"""Failures for one name, over all addresses, within the time a lock lasts; no source."""
KNOWN_FOR = timedelta(days=90)
"""How long an address counts as a person's own after a sign-in there; no source."""


class SignInLock(AxesDatabaseHandler):
    """The lock of a name at an address, with two limits over all names and all addresses."""

    def is_locked(self, request: Any, credentials: dict[str, Any] | None = None) -> bool:
        """Whether this name may not be tried from this address now."""
        if super().is_locked(request, credentials):
            return True
        address = request.axes_ip_address
        lately = AccessAttempt.objects.filter(attempt_time__gte=get_cool_off_threshold(request))
        if _failures(lately.filter(ip_address=address)) >= MOST_FROM_AN_ADDRESS:
            return True
        name = get_client_username(request, credentials)
        if not name or _failures(lately.filter(username=name)) < MOST_FOR_A_NAME:
            return False
        since = timezone.now() - KNOWN_FOR
        own = AccessLog.objects.filter(username=name, ip_address=address, attempt_time__gte=since)
        return not own.exists()


def _failures(attempts: QuerySet[AccessAttempt]) -> int:
    return attempts.aggregate(total=Sum("failures_since_start"))["total"] or 0
