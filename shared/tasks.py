"""What the worker does for the house itself."""

from __future__ import annotations

from typing import Any

from celery import shared_task

SCHEDULE: dict[str, dict[str, Any]] = {
    "forget answered keys": {"task": "shared.tasks.forget_answered_keys", "schedule": 86_400.0},
    # Asked often: a shop that is closed every evening has its copy soon after it opens.
    "copy the shop each day": {"task": "shared.tasks.copy_of_the_day", "schedule": 300.0},
    "send events to other systems": {
        "task": "shared.tasks.send_events",
        "schedule": 2.0,
        # A round that waited this long in the queue has been overtaken by the next.
        "options": {"expires": 10},
    },
    "forget old deliveries": {"task": "shared.tasks.forget_old_deliveries", "schedule": 86_400.0},
    "mail new passwords": {
        "task": "shared.tasks.mail_new_passwords",
        "schedule": 60.0,
        "options": {"expires": 60},
    },
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

    from shared.sign_in import sign_ins

    call_command("clearsessions")
    sign_ins.forget_ended()


@shared_task(name="shared.tasks.mail_new_passwords")
def mail_new_passwords() -> int:
    """Mail what people asked for who forgot their password."""
    from shared.sign_in import new_password

    return new_password.mail_all()


@shared_task(name="shared.tasks.copy_of_the_day")
def copy_of_the_day() -> str:
    """Make the day's copy of the shop if one is due; return where it is."""
    from shared import clock
    from shared.backup import daily

    made = daily.make_if_due(clock.now())
    return str(made) if made else ""


@shared_task(name="shared.tasks.send_events")
def send_events() -> int:
    """Begin to send events that are due; slow receivers are waited for beside the next rounds."""
    from shared.hooks import sending

    return sending.send_all()


@shared_task(name="shared.tasks.forget_old_deliveries")
def forget_old_deliveries() -> int:
    """Delete deliveries of events that ended long ago."""
    from shared import clock
    from shared.hooks import actions

    return actions.forget_old(clock.now())
