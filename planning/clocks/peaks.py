"""Writes: when a lift's hottest moment is over, by its temperatures, its clock or a person."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db.models import F

from planning.clocks.models import Cure, TemperatureReading
from planning.clocks.readings import counting
from shared.times import happened

COOLER_K = Decimal(2)
"""Two readings of one thermometer may differ by less; common practice, no source."""
COMPUTED = "computed"
SEEN = "seen by"


def note_peaks(now: datetime) -> int:
    """Note the peaks that are over by now; the sweep calls this in every round."""
    rows = Cure.objects.filter(
        done_at__isnull=True, peak_passed_at__isnull=True, peak_due_at__lte=now
    )
    return sum(note_peak(cure, now) for cure in rows.select_related("lift__pour__order__site"))


def note_peak(cure: Cure, now: datetime) -> bool:
    """
    Note that a lift's peak is over, or take that back unless somebody saw it pass.

    A casting's own temperatures tell it before the clock does: it is over once one is 2 K below
    the hottest, and it is not while the last one is the hottest. Without any, the time holds that
    the plan's clock gives for the temperatures of the shop.
    """
    if cure.peak_passed_at is not None and cure.peak_basis.startswith(SEEN):
        return False
    at, basis = _passed(cure, _own(cure), now)
    if (at, basis) == (cure.peak_passed_at, cure.peak_basis):
        return False
    cure.peak_passed_at, cure.peak_basis = at, basis
    Cure.objects.filter(pk=cure.pk).update(
        peak_passed_at=at, peak_basis=basis, version=F("version") + 1
    )
    return True


def _own(cure: Cure) -> list[TemperatureReading]:
    rows = counting().filter(pour=cure.lift.pour_id, at__gte=cure.poured_at)
    for where in ("core", "surface"):
        found = list(rows.filter(where=where))
        if found:
            return found
    return []


def _passed(
    cure: Cure, own: Sequence[TemperatureReading], now: datetime
) -> tuple[datetime | None, str]:
    if own:
        top = max(own, key=lambda reading: reading.celsius)
        cooler = [r for r in own if r.at > top.at and top.celsius - r.celsius >= COOLER_K]
        if cooler:
            where = top.get_where_display().lower()
            return cooler[0].at, f"{where} {cooler[0].celsius} °C after {top.celsius} °C"
        if own[-1].celsius == top.celsius and own[-1].at >= cure.peak_due_at:
            return None, ""  # still as hot as ever after the time it should have been over
    if cure.peak_due_at <= now:
        return cure.peak_due_at, COMPUTED
    return None, ""


def confirm_peak(*, cure: Cure, at: datetime, now: datetime, by: Any = None) -> Cure:
    """Say that somebody saw the peak pass; a repeat changes nothing."""
    if cure.peak_passed_at is not None and cure.peak_basis.startswith(SEEN):
        return cure
    at = happened(
        at,
        now=now,
        after=[(f"{cure.lift} was poured", cure.poured_at)],
        before=[(f"{cure.lift.pour} was demoulded", cure.done_at)],
        site=cure.lift.pour.order.site,
    )
    cure.peak_passed_at, cure.peak_basis = at, f"{SEEN} {by or 'somebody'}"[:80]
    Cure.objects.filter(pk=cure.pk).update(
        peak_passed_at=at, peak_basis=cure.peak_basis, version=F("version") + 1
    )
    cure.refresh_from_db()
    return cure
