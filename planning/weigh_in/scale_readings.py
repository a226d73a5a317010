"""What a scale shows right now: kept for seconds, for the batch page beside it to take over."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.core.cache import caches
from django.core.cache.backends.base import BaseCache
from django.core.cache.backends.filebased import FileBasedCache

KEPT_S = 10
"""An older reading may belong to another pot."""


def shared_store() -> BaseCache:
    """Return what all processes of the service share: Redis, or files where there is none."""
    if settings.REDIS_URL:
        return caches["default"]
    return FileBasedCache(str(settings.DATA / "scale-readings"), {})


def put(*, site_id: int, scale: str, kg: Decimal, stable: bool, at: datetime) -> None:
    """Note what a scale shows, in place of what it showed before."""
    row = {"kg": str(kg), "stable": stable, "at": at.isoformat()}
    shared_store().set(f"scale:{site_id}:{scale}", row, KEPT_S)


def newest(*, site_id: int, scale: str, now: datetime) -> dict[str, Any] | None:
    """Return what a scale shows, or nothing when it has been silent for too long."""
    row = shared_store().get(f"scale:{site_id}:{scale}")
    if row is None:
        return None
    age_s = (now - datetime.fromisoformat(row["at"])).total_seconds()
    return {**row, "age_s": age_s} if 0 <= age_s <= KEPT_S else None
