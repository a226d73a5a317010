"""What the worker does for the stores."""

from __future__ import annotations

from typing import Any

from celery import shared_task

SCHEDULE: dict[str, dict[str, Any]] = {
    "compare stock with its ledger": {
        "task": "shop.tasks.audit_stock",
        "schedule": 24 * 3600.0,
    },
}
"""Beat entries of this app; gathered by `shared.config.celery`."""


@shared_task(name="shop.tasks.audit_stock")
def audit_stock() -> int:
    """Compare all records of stock, and hold the lots that differ."""
    from shop.ledger.safeguard import stop_differing_lots

    return stop_differing_lots()
