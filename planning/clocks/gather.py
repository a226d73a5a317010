"""From rows to a `PouredLift`: everything that the clocks of one lift are asked with."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import Q

from planning.batches.models import BatchEntry, Lift
from planning.clocks.models import Cure, OvenStay, TemperatureReading
from planning.clocks.readings import counting
from planning.core.casting import clock_types as core
from planning.core.casting.clock_types import Planned, PouredLift, Reading
from planning.core.casting.faces import AIR_TOP, INSULATED, Face, tool_side
from planning.pours.models import Pour, ToolSide
from planning.rules.models import PlanningRules
from planning.system_data import kinetics_origin, system_data
from shop import stores
from shop.stores_types import SystemInfo

BEFORE = timedelta(hours=4, minutes=30)
"""How long before pouring an air reading still counts; a longer gap is treated as no reading."""
LONGEST = timedelta(days=14)
"""As far as the core's surroundings reach."""
OWN = ("surface", "core")
SIDES = {ToolSide.METAL: "metal", ToolSide.BOARD: "board", ToolSide.INSULATED: "foam"}


def poured_lift(lift: Lift, poured_at: datetime, now: datetime) -> PouredLift:
    """
    Gather what the clocks of a poured lift are asked with at a moment.

    A sensor in or on a casting belongs to the lift that was the highest when it was read. The
    number of queries is fixed.
    """
    above = _covered_at(lift)
    hour = _hours_from(poured_at)
    info = stores.system(lift.pour.system_id)
    asked = lift_of(
        lift.pour, info, lift.number, float(lift.depth_mm), float(lift.expected_c),
        night_c(lift.pour.order.site_id),
    )  # fmt: skip
    return replace(
        asked,
        now_h=max(0.0, hour(now)),
        readings=tuple(
            Reading(
                hour(row.at),
                float(row.celsius),
                row.where,
                float(row.height_mm)
                if row.where == core.CORE and row.height_mm is not None
                else None,
            )
            for row in readings_of(lift, poured_at, above)
            if row.at <= max(now, poured_at)
        ),
        mix_c=_mix_c(lift, poured_at),
        stays=tuple(
            core.OvenStay(
                hour(stay.in_at),
                float(stay.set_c),
                None if stay.out_at is None else hour(stay.out_at),
            )
            for stay in _stays(lift, poured_at)
        ),
        planned=Planned(float(lift.expected_c), lift.attend_min / 60 or None),
    )


def lift_of(
    pour: Pour, info: SystemInfo, number: int, depth_mm: float, expected_c: float,
    night_c: float | None,
) -> PouredLift:  # fmt: skip
    """Return what is known of a lift before it is poured, asked about as it is poured."""
    base, known = base_of(pour, number)
    return PouredLift(
        system=system_data(info),
        calibrated=kinetics_origin(info).calibrated,
        depth_mm=depth_mm,
        base=base,
        base_known=known,
        top=AIR_TOP,
        now_h=0.0,
        expected_c=expected_c,
        night_c=night_c,
        mix_c=_colder_mix_c(pour, expected_c),
        mould_c=None if pour.mould_c is None else float(pour.mould_c),
    )


def readings_of(
    lift: Lift, poured_at: datetime, above: datetime | None = None
) -> list[TemperatureReading]:
    """Return the temperatures that bear on a lift: its own, and the site's air about then."""
    until = poured_at + LONGEST
    around = Q(where="air", at__gte=poured_at - BEFORE) | Q(where="oven", at__gte=poured_at)
    own = Q(where__in=OWN, at__gte=poured_at)
    if above is not None:
        own &= Q(at__lt=above)
    rows = counting().filter(site_id=lift.pour.order.site_id, at__lte=until)
    return list(rows.filter(Q(pour=None, where="air", at__gte=poured_at - BEFORE)
                            | (Q(pour=lift.pour_id) & (around | own))))  # fmt: skip


def _hours_from(start: datetime) -> Callable[[datetime], float]:
    return lambda at: (at - start).total_seconds() / 3600


def _covered_at(lift: Lift) -> datetime | None:
    """Return when the next lift was poured over it."""
    rows = Cure.objects.filter(lift__pour=lift.pour_id, lift__number__gt=lift.number)
    return rows.order_by("lift__number").values_list("poured_at", flat=True).first()


def base_of(pour: Pour, number: int) -> tuple[Face, bool]:
    """Return the face a lift of a pour stands on, and whether it is known: cured resin is not."""
    side = SIDES.get(ToolSide(pour.tool_side))
    if number > 1 or side is None:
        return INSULATED, False
    return tool_side(side), True


def night_c(site_id: int) -> float | None:
    """Return the coldest that a shop gets unseen, C; None where its rules do not say."""
    rows = PlanningRules.objects.filter(site_id=site_id).values_list("night_c", flat=True)
    found = rows.first()
    return None if found is None else float(found)


def _mix_c(lift: Lift, poured_at: datetime) -> float | None:
    """Return the mean of the temperatures last read of each mix that went into a lift."""
    rows = BatchEntry.objects.filter(batch__portions__lift=lift, at__lte=poured_at)
    last: dict[int, float] = {}
    for entry in rows.order_by("at", "pk"):
        given = entry.facts.get("mix_c")
        if given not in (None, ""):
            last[entry.batch_id] = float(Decimal(str(given)))
    if not last:
        return _colder_mix_c(lift.pour, float(lift.expected_c))
    return sum(last.values()) / len(last)


def _colder_mix_c(pour: Pour, expected_c: float) -> float | None:
    """Return a mix planned colder than the shop: nobody measured, and it takes longer."""
    mix_c = None if pour.mix_c is None else float(pour.mix_c)
    return mix_c if mix_c is not None and mix_c < expected_c else None


def _stays(lift: Lift, poured_at: datetime) -> Sequence[OvenStay]:
    rows = OvenStay.objects.filter(pour=lift.pour_id, wrong_at__isnull=True)
    return list(rows.filter(Q(out_at__isnull=True) | Q(out_at__gt=poured_at)))
