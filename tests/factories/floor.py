"""What stands before a pour, done: for tests that are about something else."""

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


def weigh_all(batch: Any, at: datetime | None = None, **more: Any) -> None:
    """Weigh every row of a batch on its target, when it is planned unless a time is given."""
    from planning.weigh_in.actions import record_weighing

    moment = at or batch.planned_start
    for line in batch.lines.order_by("order"):
        record_weighing(
            line=line,
            weighed_kg=line.target_kg,
            key=f"w{line.pk}",
            at=moment,
            now=moment,
            **more,
        )
