"""Castings that are off and accepted, without pouring them."""

from __future__ import annotations

from typing import Any


def take_off(pour: Any, at: Any, verdict: str = "accept") -> None:
    """Have a casting off and its steps signed, as demoulding and signing leave it."""
    from planning.cures.models import Demould
    from planning.pours.models import Pour
    from shop.models import Tool

    Pour.objects.filter(pk=pour.pk).update(status="demoulded")
    pour.steps.filter(done_at__isnull=True).update(done_at=at)
    Demould.objects.create(pour=pour, key=f"off:{pour.pk}", at=at, recorded_at=at, verdict=verdict)
    Tool.objects.filter(pk=pour.order.tool_id).update(
        status="in_service" if verdict == "accept" else "casting"
    )
