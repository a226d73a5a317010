"""Writes: a casting goes into an oven and comes out of it."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import F, Max

from planning.clocks.asking import changed, of_pour
from planning.clocks.models import Cure, OvenStay
from planning.pours.models import Pour, PourStatus
from shared.errors import Invalid, ShopError
from shared.times import happened

COOLEST_C, HOTTEST_C = 25, 150
"""An oven may be set to; the table holds it too. Common practice, no source."""
LEAST_REASON = 3


@transaction.atomic
def into_oven(
    *, pour: Pour, set_c: Decimal, at: datetime, now: datetime, key: str, by: Any = None
) -> OvenStay:
    """Record that a casting went into an oven; a repeat returns the first record."""
    found = OvenStay.objects.filter(key=key).first()
    if found is not None:
        return found
    pour = Pour.objects.select_for_update().select_related("order__site").get(pk=pour.pk)
    if pour.status not in (PourStatus.POURING, PourStatus.CURING):
        raise ShopError(
            f"{pour} is {pour.get_status_display().lower()}; only a casting that is poured and "
            "not demoulded goes into the oven.",
            code="not_curing",
        )
    if not COOLEST_C <= set_c <= HOTTEST_C:
        raise Invalid.one(
            "set_c",
            "out_of_range",
            f"Oven set to, °C, is {set_c}; it must be {COOLEST_C} to {HOTTEST_C} °C.",
            value=set_c,
            limit=f"{COOLEST_C} to {HOTTEST_C}",
            unit="°C",
        )
    counting = OvenStay.objects.filter(pour=pour, wrong_at__isnull=True)
    if counting.filter(out_at__isnull=True).exists():
        raise ShopError(
            f"{pour} is in the oven already; say first when it came out.", code="in_oven"
        )
    poured = Cure.objects.filter(lift__pour=pour).aggregate(at=Max("poured_at"))["at"]
    out_last = counting.aggregate(at=Max("out_at"))["at"]
    at = happened(
        at,
        now=now,
        after=[(f"{pour} was poured", poured), (f"{pour} came out of the oven", out_last)],
        site=pour.order.site,
    )
    stay = OvenStay.objects.create(
        pour=pour, set_c=set_c, in_at=at, key=key, recorded_at=now, by=by
    )
    changed(of_pour(pour), now)
    return stay


@transaction.atomic
def out_of_oven(*, stay: OvenStay, at: datetime, now: datetime, by: Any = None) -> OvenStay:
    """Record that a casting came out of its oven; its cooling starts then."""
    stay = OvenStay.objects.select_for_update().get(pk=stay.pk)
    if stay.wrong_at is not None or stay.out_at is not None:
        state = "is marked wrong" if stay.wrong_at is not None else "is over"
        raise ShopError(f"This stay in the oven {state}.", code="not_in_oven")
    at = happened(
        at,
        now=now,
        after=[(f"{stay.pour} went into the oven", stay.in_at)],
        site=stay.pour.order.site,
    )
    OvenStay.objects.filter(pk=stay.pk).update(out_at=at, out_by=by, version=F("version") + 1)
    changed(of_pour(stay.pour), now)
    stay.refresh_from_db()
    return stay


@transaction.atomic
def mark_stay_wrong(*, stay: OvenStay, reason: str, now: datetime, by: Any = None) -> OvenStay:
    """Say that a casting was not in the oven like this; the clocks do without the record."""
    if len(reason.strip()) < LEAST_REASON:
        raise Invalid.one(
            "reason",
            "too_short",
            f"The reason is {reason.strip() or 'empty'}; write at least {LEAST_REASON} letters.",
        )
    rows = OvenStay.objects.filter(pk=stay.pk, wrong_at__isnull=True)
    if rows.update(
        wrong_reason=reason.strip(), wrong_at=now, wrong_by=by, version=F("version") + 1
    ):
        changed(of_pour(stay.pour), now)
    stay.refresh_from_db()
    return stay
