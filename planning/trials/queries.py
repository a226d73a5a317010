"""Reads: trials that nobody answers."""

from __future__ import annotations

from datetime import datetime

from planning.schedule.queries import LOST_AFTER
from planning.trials.models import PlanTrial


def waiting_trials(now: datetime) -> list[int]:
    """Return what-if questions whose message to the worker seems lost."""
    lost = PlanTrial.objects.filter(state="waiting", asked_at__lt=now - LOST_AFTER)
    return list(lost.order_by("asked_at").values_list("pk", flat=True)[:20])
