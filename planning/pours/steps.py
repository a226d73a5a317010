"""Writes: sign the steps of work of a pour, issuing what they use."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from django.db import transaction

from planning.pours.models import PourStatus, PourStep
from planning.routes.models import Phase
from shared.errors import Invalid, ShopError
from shared.times import Event, happened
from shop import stores


def sign_step(
    *,
    step: PourStep,
    at: datetime,
    now: datetime,
    by: Any = None,
    took_min: int | None = None,
    results: list[dict[str, Any]] | None = None,
    remark: str = "",
    photo: Any = None,
) -> PourStep:
    """Sign a step of work as done; its materials are issued first expired first out."""
    if step.done_at is not None:
        return step
    after, before = _signed_around(step)
    at = happened(at, now=now, after=after, before=before, site=step.pour.order.site)
    with transaction.atomic():
        changed = PourStep.objects.filter(pk=step.pk, done_at__isnull=True).update(
            done_at=at, done_by=by, took_min=took_min, results=results or [], remark=remark
        )
        if changed:
            _issue_materials(step, at, by)
    step.refresh_from_db()
    if changed and photo is not None:
        step.photo.save("photo.jpg", photo)
    return step


LEAST_REASON = 3
OFF = (PourStatus.DEMOULDED, PourStatus.FAILED)


def waive_step(*, step: PourStep, reason: str, now: datetime, by: Any = None) -> PourStep:
    """
    Leave a step out on somebody's word; nothing is issued for it. A repeat returns the first.

    It stays in the record as waived, never as done: a lift whose abrading was waived still counts
    as not abraded.
    """
    words = reason.strip()
    if step.waived:
        return step
    if step.done_at is not None:
        raise ShopError(f"{step.name} is signed already; it is not waived.", code="step_signed")
    if len(words) < LEAST_REASON:
        raise Invalid.one(
            "reason",
            "too_short",
            f"The reason is {words or 'empty'}; write at least {LEAST_REASON} letters.",
        )
    if step.phase == Phase.AFTER and step.pour.status not in OFF:
        raise ShopError(
            f"{step.name} comes after the casting is off; until then it cannot be waived.",
            code="not_yet",
        )
    PourStep.objects.filter(pk=step.pk, done_at__isnull=True).update(
        done_at=now, done_by=by, waived=True, remark=words[:400]
    )
    step.refresh_from_db()
    return step


def _signed_around(step: PourStep) -> tuple[list[Event], list[Event]]:
    """Return the signed steps of its part of the road that a step follows, and that follow it."""
    signed = PourStep.objects.filter(pour=step.pour_id, phase=step.phase, done_at__isnull=False)
    earlier = signed.filter(order__lt=step.order).order_by("-done_at").first()
    later = signed.filter(order__gt=step.order).order_by("done_at").first()
    return _as_events(earlier), _as_events(later)


def _as_events(step: PourStep | None) -> list[Event]:
    return [] if step is None else [(f"{step.name} was signed", step.done_at)]


MOST_MIN = 1440


def note_minutes(*, step: PourStep, took_min: int) -> PourStep:
    """Write down how long a signed step took; minutes that are there already stay the record."""
    if not 1 <= took_min <= MOST_MIN:
        raise ShopError(
            f"Hands-on time is {took_min} min; it must be 1 to {MOST_MIN} min.",
            code="minutes_out_of_range",
            status=422,
        )
    changed = PourStep.objects.filter(
        pk=step.pk, done_at__isnull=False, took_min__isnull=True
    ).update(took_min=took_min)
    step.refresh_from_db()
    if not changed and step.took_min != took_min:
        raise ShopError(
            f"{step.name} is not signed yet; sign it first."
            if step.done_at is None
            else f"{step.name} has {step.took_min} min written down; that is part of the record.",
            code="minutes_fixed",
        )
    return step


def add_photo(*, step: PourStep, photo: Any) -> PourStep:
    """Keep a photo of a step; one that is there already stays the record."""
    if step.photo:
        raise ShopError(
            f"{step} has a photo already; it is part of the record and is not replaced.",
            code="photo_there",
        )
    step.photo.save("photo.jpg", photo)
    return step


def judged(step: PourStep, results: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return measured values beside the limits of the checks they name, each judged."""
    checks = {str(check.get("what")): check for check in step.checks}
    return [_judged(checks.get(str(row.get("what")), {}), row) for row in results]


def _judged(check: Mapping[str, Any], row: dict[str, Any]) -> dict[str, Any]:
    value = row.get("value")
    found = {**row, **{name: check[name] for name in ("low", "high", "unit") if name in check}}
    if isinstance(value, bool):
        return {**found, "within": value}
    try:
        number = Decimal(str(value))
    except InvalidOperation:
        return row
    return {**found, "value": str(value), "within": within(number, check)}


def within(value: Decimal, check: Mapping[str, Any]) -> bool:
    """Whether a measured value keeps the limits of its check."""
    low, high = check.get("low"), check.get("high")
    return (low is None or value >= Decimal(str(low))) and (
        high is None or value <= Decimal(str(high))
    )


def _issue_materials(step: PourStep, at: datetime, by: Any) -> None:
    for row in step.materials.all():
        stores.issue_from_material(
            site_id=step.pour.order.site_id,
            material_id=row.material_id,
            quantity=row.quantity,
            key=f"step:{step.pk}:{row.material_id}",
            counterpart=f"pour:{step.pour_id}",
            happened_at=at,
            by=by,
        )
