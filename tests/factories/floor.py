"""What stands before a pour, done: for tests that are about something else than the gate."""

from __future__ import annotations

from datetime import datetime
from typing import Any


def sign_off(batch: Any, at: datetime | None = None) -> None:
    """Sign every step that comes before the pours of a batch."""
    from planning.pours.models import PourStep
    from planning.routes.models import Phase

    PourStep.objects.filter(pour__lifts__portions__batch=batch, done_at__isnull=True).exclude(
        phase=Phase.AFTER
    ).update(done_at=at or batch.planned_start)
