"""What the worker does for the stores."""

from __future__ import annotations

from typing import Any

from celery import shared_task

SCHEDULE: dict[str, dict[str, Any]] = {
    "compare stock with its ledger": {
        "task": "shop.tasks.audit_stock",
        "schedule": 24 * 3600.0,
    },
    "let changes of the catalogue hold from their day": {
        "task": "shop.tasks.bring_changes_into_force",
        "schedule": 60.0,
        "options": {"expires": 120},
    },
    "tell others what is foreseen": {
        "task": "shop.tasks.tell_foreseen",
        "schedule": 15 * 60.0,
        "options": {"expires": 15 * 60},
    },
    "mail orders that are due": {
        "task": "shop.tasks.send_order_mails",
        "schedule": 30.0,
        # A round that waited this long in the queue has been overtaken by the next.
        "options": {"expires": 60},
    },
}
"""Beat entries of this app; gathered by `shared.config.celery`."""


@shared_task(name="shop.tasks.audit_stock")
def audit_stock() -> int:
    """Compare all records of stock, and hold the lots that differ."""
    from shop.ledger.safeguard import stop_differing_lots

    return stop_differing_lots()


@shared_task(name="shop.tasks.send_order_mails")
def send_order_mails() -> int:
    """Send the orders that are due by e-mail; any number of workers may do so at once."""
    from shop.purchasing import mailing

    return mailing.send_due()


@shared_task(name="shop.tasks.bring_changes_into_force")
def bring_changes_into_force() -> int:
    """Let released changes of the catalogue hold whose day has come."""
    from shared import clock
    from shop.catalogue import actions

    return actions.bring_due_into_force(clock.now())


@shared_task(name="shop.tasks.tell_foreseen")
def tell_foreseen() -> int:
    """Tell of shortages, lots that soon expire, tools to be replaced; each is told once."""
    from shop import foreseen

    return foreseen.tell_all()
