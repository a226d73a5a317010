"""When the hottest moment of a lift is over, by its clock or by a person."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import F

from planning.batches.models import Lift
from planning.clocks.models import SEEN, Cure
from planning.clocks.readings import counting
from shared.times import happened

COMPUTED = "computed"
LOGGED = "the core has cooled"


def passed(
    lift: Lift, poured_at: datetime, seen: bool, due: datetime | None, now: datetime
) -> dict[str, Any]:
    """
    Return columns that say whether a lift's peak is over by now, and how that is known.

    It is not over while the last temperature of the casting is its hottest.
    """
    open_still = {"peak_passed_at": None, "peak_basis": ""}
    if due is None or due > now:
        return open_still
    if seen:
        return {"peak_passed_at": due, "peak_basis": LOGGED}
    own = counting().filter(
        pour=lift.pour_id, where__in=("core", "surface"), at__gte=poured_at, at__lte=now
    )
    last, hottest = own.last(), own.order_by("-celsius", "at").first()
    warms = last is not None and hottest is not None and last.celsius >= hottest.celsius
    if warms and last is not None and last.at >= due and own.count() > 1:
        return open_still
    return {"peak_passed_at": due, "peak_basis": COMPUTED}


def confirm_peak(*, cure: Cure, at: datetime, now: datetime, by: Any = None) -> Cure:
    """Say that somebody saw the peak pass; a repeat changes nothing."""
    if cure.seen_to_pass:
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
