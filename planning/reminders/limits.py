"""The figures reminders work by; a shop may set its own in the settings."""

from __future__ import annotations

from datetime import timedelta

from django.conf import settings

LATE_AFTER = timedelta(minutes=10)
"""Reminders told later than this, as after an outage, share one message a person."""

SEEN_FOR = timedelta(seconds=2)
"""So long a worker relies on having looked at the things themselves before it sends."""

WEBHOOK_ITEMS = 40
"""Most reminders in one webhook message, to stay below 20 kB."""

UNHURRIED_EVERY = timedelta(minutes=5)
HEARTBEAT_LATE_S = 180
CLOCK_APART_S = 5
KEEP_CANCELLED = timedelta(days=30)
KEEP_MESSAGES = timedelta(days=90)


def lease() -> timedelta:
    """
    Return how long a worker holds a delivery before it must renew its lease.

    A worker that dies keeps what it holds from others for so long; a hand-over, which takes 15 s
    at most, must end well within it.
    """
    return timedelta(seconds=getattr(settings, "REMINDER_LEASE_S", 25))


def paused() -> bool:
    """Tell whether nothing is to be sent for now, as after a backup was put back."""
    return bool(getattr(settings, "REMINDERS_PAUSED", False))


def claim_at_once() -> int:
    """Return how many deliveries a worker claims in one go."""
    return int(getattr(settings, "REMINDER_CLAIM_AT_ONCE", 10))


def public_url() -> str:
    """Return the address people reach the service at, without a closing slash."""
    return str(getattr(settings, "PUBLIC_URL", "http://localhost:8000")).rstrip("/")
