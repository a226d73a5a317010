"""What the worker does for the house itself."""

from __future__ import annotations

from typing import Any

from celery import shared_task

SCHEDULE: dict[str, dict[str, Any]] = {
    "forget answered keys": {"task": "shared.tasks.forget_answered_keys", "schedule": 86_400.0},
    "forget ended sign-ins": {"task": "shared.tasks.forget_ended_sign_ins", "schedule": 86_400.0},
}


@shared_task(name="shared.tasks.forget_answered_keys")
def forget_answered_keys() -> int:
    """Delete Idempotency-Keys past their time."""
    from shared.api import idempotency

    return idempotency.forget_old()


@shared_task(name="shared.tasks.forget_ended_sign_ins")
def forget_ended_sign_ins() -> None:
    """Delete sessions that have run out."""
    from django.core.management import call_command

    call_command("clearsessions")
