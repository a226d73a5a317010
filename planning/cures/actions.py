"""Writes: start the clock of a poured lift, move it with real temperatures, demould."""

from __future__ import annotations

import math
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Sum

from planning.batches.models import Batch
from planning.clocks.models import Cure, TemperatureReading
from planning.clocks.readings import too_hot
from planning.clocks.standing import Standing, asked_now
from planning.clocks.words import AGAIN
from planning.core.casting.clock_types import HAND_SAFE_C
from planning.cures.models import Demould
from planning.order_events.actions import add_event
from planning.pours.models import OrderStatus, Pour, PourStatus, ToolOrder
from planning.pours.steps import sign_step
from planning.routes.models import Phase
from planning.weigh_in.quarantine import refuse_quarantined
from shared.change import change, change_all
from shared.errors import Invalid, ShopError
from shared.events.kinds import EventKind
from shared.times import happened
from shop import stores

LEAST_REASON = 3


class NotCured(ShopError):
    """A casting whose cure time has not run."""


@transaction.atomic
def demould(
    *,
    pour: Pour,
    key: str,
    at: datetime,
    now: datetime,
    verdict: str,
    by: Any = None,
    hardness_shore_d: Decimal | None = None,
    released_well: bool = True,
    thickness_mm: Decimal | None = None,
    defects: str = "",
    early_reason: str = "",
) -> Demould:
    """Record taking a casting off; the tool's record follows. A repeat returns the first."""
    found = Demould.objects.filter(key=key).first()
    if found is not None:
        return found
    pour = Pour.objects.select_for_update().select_related("order__tool").get(pk=pour.pk)
    if pour.status != PourStatus.CURING:
        raise ShopError(
            f"{pour} is {pour.get_status_display().lower()}; only a casting that is curing can be "
            "demoulded.",
            code="not_curing",
        )
    if verdict == "accept":
        refuse_quarantined(pour)
    early_reason = _reason(early_reason)
    cures = Cure.objects.filter(lift__pour=pour).select_related("lift")
    at = happened(
        at,
        now=now,
        after=[(f"lift {cure.lift.number} was poured", cure.poured_at) for cure in cures],
        site=pour.order.site,
    )
    stands = asked_now(pour, now)
    assert stands is not None  # it is curing, so all its lifts are poured
    # The clock says what is safe now; a time that somebody gives does not make it so.
    if not stands.may_demould(now) and not early_reason:
        due = stands.ready_at
        hot = too_hot(pour, now) if due is None or due <= now else None
        raise _not_cured(stands, now) if hot is None else _too_hot(pour, hot)
    record = Demould.objects.create(
        pour=pour,
        key=key,
        at=at,
        recorded_at=now,
        by=by,
        verdict=verdict,
        hardness_shore_d=hardness_shore_d,
        released_well=released_well,
        thickness_mm=thickness_mm,
        defects=defects,
        early_reason=early_reason,
    )
    status = PourStatus.FAILED if verdict == "reject" else PourStatus.DEMOULDED
    change(pour, status=status)
    change_all(Cure.objects.filter(lift__pour=pour, done_at__isnull=True), done_at=at)
    first = pour.steps.filter(phase=Phase.AFTER, done_at__isnull=True).order_by("order").first()
    if first is not None:
        sign_step(step=first, at=at, now=now, by=by)
    stores.open_tool_record(
        tool_id=pour.order.tool_id,
        half=pour.half,
        casting=f"pour:{pour.pk}",
        at=at,
        by=by,
        verdict=verdict,
        facts=_facts(pour, record),
    )
    if verdict == "accept":
        add_event(order=pour.order, pour=pour, kind=EventKind.CURED, at=at, by=by)
    _close_order(pour.order, at=at, by=by)
    return record


def _reason(given: str) -> str:
    reason = given.strip()
    if given and len(reason) < LEAST_REASON:
        raise Invalid.one(
            "early_reason",
            "too_short",
            f"The reason is {reason or 'empty'}; write at least {LEAST_REASON} letters.",
        )
    return reason


def _too_hot(pour: Pour, hot: TemperatureReading) -> ShopError:
    return ShopError(
        f"{pour} had {hot.celsius} °C, read {hot.at:%Y-%m-%d %H:%M} UTC "
        f"({hot.get_where_display().lower()}); at most {HAND_SAFE_C:g} °C is safe to handle. "
        "Let it cool and write down a new temperature, or give early_reason.",
        code="too_hot",
    )


def _not_cured(stands: Standing, now: datetime) -> NotCured:
    due = stands.ready_at
    if due is None or due <= now:
        words = AGAIN if stands.is_asked_again else stands.waits_for or AGAIN
        return NotCured(
            f"{stands.pour} may not be demoulded yet. {words} To demould all the same, give "
            "early_reason.",
            code="not_cured",
            waits_for=words,
        )
    left = math.ceil((due - now).total_seconds() / 60)
    return NotCured(
        f"{stands.pour} may be demoulded from {due:%Y-%m-%d %H:%M} UTC, in {left} min. To demould "
        "earlier, give early_reason.",
        code="not_cured",
        due_at=due.isoformat(),
        left_min=left,
    )


def add_photo(*, record: Demould, photo: Any) -> Demould:
    """Keep the photo of a demoulding; one that is there already stays the record."""
    if record.photo:
        raise ShopError(
            f"{record} has a photo already; it is part of the record and is not replaced.",
            code="photo_there",
        )
    record.photo.save("photo.jpg", photo)
    return record


def _facts(pour: Pour, record: Demould) -> dict[str, Any]:
    batches = Batch.objects.filter(portions__lift__pour=pour).distinct()
    cast_kg = pour.lifts.aggregate(kg=Sum("mass_kg"))["kg"]  # less than asked for if left lower
    return {
        "batches": ", ".join(sorted(batches.values_list("number", flat=True))),
        "lifts": pour.lifts.count(),
        "mass_kg": f"{pour.mass_kg if cast_kg is None else cast_kg:.4f}",
        "hardness_shore_d": str(record.hardness_shore_d or ""),
        "thickness_mm": str(record.thickness_mm or ""),
        "defects": record.defects,
    }


def _close_order(order: ToolOrder, *, at: datetime, by: Any) -> None:
    if not order.pours.exclude(status__in=[PourStatus.DEMOULDED, PourStatus.CANCELLED]).exists():
        order = change(order, status=OrderStatus.DONE)
        tool = {"tool": order.tool.code}
        add_event(order=order, kind=EventKind.READY, at=at, facts=tool, by=by)
