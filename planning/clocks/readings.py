"""Temperatures that count: which, for whom, and what is to be asked of a new one."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.db.models import QuerySet

from planning.clocks.models import TemperatureReading
from planning.core.casting.clock_types import HAND_SAFE_C
from planning.core.casting.plausible import Near, question
from planning.pours.models import Pour
from planning.system_data import system_data
from shared.access.models import Site
from shared.errors import Invalid
from shop import stores

NEAR = timedelta(hours=12)
"""Readings of one place farther apart say nothing of each other."""


def counting() -> QuerySet[TemperatureReading]:
    """Return the readings that nobody has marked wrong, by time."""
    return TemperatureReading.objects.filter(wrong__isnull=True).order_by("at", "id")


def too_hot(pour: Pour, now: datetime) -> TemperatureReading | None:
    """Return the last reading in or on a casting where it is too hot to be handled; else None."""
    own = counting().filter(pour=pour, where__in=("surface", "core"), at__lte=now)
    last = own.last()
    return last if last is not None and float(last.celsius) > HAND_SAFE_C else None


def ask_of(row: dict[str, Any], at: datetime, site_id: int, pointer: str) -> None:
    """
    Ask about a reading that is odd, by refusing it until it is confirmed.

    Raises
    ------
    Invalid
        With the code `implausible` and the question.
    """
    pour: Pour | None = row.get("pour")
    where = row["where"]
    expected, cap = _expected(pour, site_id)
    words = question(
        float(row["celsius"]), where, expected_c=expected, near=_near(site_id, pour, where, at),
        cap_c=cap,
    )  # fmt: skip
    if words is None:
        return
    raise Invalid.one(
        pointer,
        "implausible",
        f"{words} Look at the unit and at the sensor, and confirm it if it is really so.",
        value=row["celsius"],
        unit="°C",
    )


def _expected(pour: Pour | None, site_id: int) -> tuple[float, float | None]:
    if pour is None:
        return float(Site.objects.get(pk=site_id).expected_c), None
    system = system_data(stores.system(pour.system_id))
    cap = system.peak_limit_c if system.computable else system.peak_cap_c
    lift = pour.lifts.order_by("-number").first()
    expected = pour.order.site.expected_c if lift is None else lift.expected_c
    return float(expected), cap


def _near(site_id: int, pour: Pour | None, where: str, at: datetime) -> list[Near]:
    rows = counting().filter(site_id=site_id, pour=pour, where=where)
    before = rows.filter(at__lte=at, at__gte=at - NEAR).last()
    after = rows.filter(at__gt=at, at__lte=at + NEAR).first()
    return [
        Near(abs((one.at - at).total_seconds()) / 3600, float(one.celsius))
        for one in (before, after)
        if one is not None
    ]
