"""The gate before first contact and before each portion: from rows to facts, and what follows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from planning.batch_sheets.mix_heat import mix_heat
from planning.batches.barred import since_and_why
from planning.batches.models import Batch, BatchEntry, BatchPortion, EntryKind, Lift, Weighing
from planning.clocks.deadline import deadline_of
from planning.clocks.readings import too_hot
from planning.clocks.standing import Standing, asked_now
from planning.clocks.words import AGAIN, NO_OPENING, asks_for
from planning.core.casting import pour_gate
from planning.core.casting.components import HARDENER
from planning.core.casting.pour_gate import CanInPot, Hindrance, Mixing, TargetLift, Underneath
from planning.pours.models import Pour, PourStatus, PourStep
from planning.routes.models import Phase
from planning.system_data import components_of
from planning.weigh_in.contents import ratio_off, weighings_of
from shared.access.models import Site
from shared.errors import Invalid, ShopError
from shop import stores
from shop.stores_types import SystemInfo

GATED = (EntryKind.CONTACT, EntryKind.POURED)
LIVE_FOR = timedelta(minutes=2)
"""What is sent later than this after it happened cannot be stopped any more."""
LEAST_REASON = 3
CAST = (PourStatus.CURING, PourStatus.DEMOULDED)


class NotReady(ShopError):
    """A pot that must not be mixed, or a portion that must not be poured."""


@dataclass(frozen=True)
class Passing:
    """On whose word a pour goes on, or that it has happened already."""

    reason: str = ""
    decided_by: str = ""
    already: bool = False


@dataclass(frozen=True)
class Verdict:
    """What was found at the gate."""

    hindrances: tuple[Hindrance, ...] = ()
    late: bool = False
    passing: Passing = field(default_factory=Passing)

    @property
    def doubtful(self) -> bool:
        """Whether the castings must be judged: it happened, and the gate would not have let it."""
        unexplained = [one for one in self.hindrances if not one.reason_passes]
        return self.late and bool(unexplained or (self.hindrances and not self.passing.reason))


def hindrances_of(
    batch: Batch, kind: str, portions: Sequence[BatchPortion], at: datetime
) -> tuple[Hindrance, ...]:
    """Return what stands in the way of mixing a batch, or of pouring some of its portions."""
    info = stores.system(batch.system_id)
    is_contact = kind == EntryKind.CONTACT
    weighings = weighings_of(batch)
    off = ratio_off(batch, info, weighings)
    surface_c, margin_k = _surface(batch)
    mix_c = measured_mix_c(batch, since=None if is_contact else batch.contact_at)
    heat = None if mix_c is None else mix_heat(batch, info)
    return pour_gate.hindrances(
        pour_gate.Facts(
            at=at,
            pour_at=at + timedelta(minutes=info.mix_min) if is_contact else at,
            cans=_cans(info, weighings, batch.site),
            lifts=_lifts(portions, at),
            ratio_off_percent=None if off is None else off.percent,
            ratio_tolerance_percent=0.0 if off is None else off.tolerance_percent,
            ratio_of="" if off is None else off.name,
            pour_by=_pour_by(batch, weighings),
            surface_c=surface_c,
            margin_k=margin_k,
            mix_c=mix_c,
            mix_most_c=None if heat is None else float(heat.most_c or heat.expected_c),
            mix_why="" if heat is None else heat.why,
            mixing=None if is_contact else _mixing(batch, info.mix_min, at),
        )
    )


def _pour_by(batch: Batch, weighings: Sequence[Weighing]) -> datetime | None:
    """
    Return the end of the pot life; before first contact the latest that it can be.

    Hardener is weighed into the pot, onto the resin: whenever first contact is entered, it is no
    pot to mix any more once the whole life has gone by since then.
    """
    if batch.contact_at is not None:
        return deadline_of(batch).pour_by
    met = min((row.at for row in weighings if row.line.role == HARDENER), default=None)
    if met is None:
        return None
    return met + timedelta(minutes=deadline_of(batch).pot_life_min)


def _mixing(batch: Batch, mix_min: int, at: datetime) -> Mixing | None:
    """Return how long a pot was mixed up to a moment; None once one of its portions is poured."""
    if batch.contact_at is None or any(p.poured_at is not None for p in batch.portions.all()):
        return None
    told = {
        entry.kind: entry.at
        for entry in batch.entries.all()
        if entry.kind in (EntryKind.SECOND_CONTAINER, EntryKind.MIXED) and entry.at <= at
    }
    return Mixing(
        batch.contact_at,
        max(batch.contact_at, told.get(EntryKind.MIXED, at)),
        timedelta(minutes=mix_min),
        told.get(EntryKind.SECOND_CONTAINER),
    )


def measured_mix_c(batch: Batch, since: datetime | None) -> float | None:
    """Return the mix's temperature as measured last, of those after a moment if one is given."""
    rows = [
        float(entry.facts["mix_c"])
        for entry in batch.entries.order_by("at", "pk")
        if "mix_c" in entry.facts and (since is None or entry.at > since)
    ]
    return rows[-1] if rows else None


def is_late(entry: BatchEntry, passing: Passing) -> bool:
    """Say whether an entry tells of something that had happened when it was written down."""
    return passing.already or entry.recorded_at - entry.at > LIVE_FOR


def judge(entry: BatchEntry, portions: Sequence[BatchPortion], passing: Passing) -> Verdict:
    """
    Let a contact or a pour through, or refuse it.

    Raises
    ------
    NotReady
        When it is about to happen and something stands in the way that no reason passes, or that
        a reason passes but none is given.
    """
    late = is_late(entry, passing)
    found = hindrances_of(entry.batch, entry.kind, portions, entry.at)
    passing = read_passing(passing)
    verdict = Verdict(found, late, passing)
    if late or not found:
        return verdict
    barred = [one for one in found if not one.reason_passes]
    if barred or not passing.reason:
        raise NotReady(
            _refusal(entry, barred or found, bool(barred)),
            code="not_ready",
            hindrances=[plain(one) for one in found],
        )
    return verdict


def plain(one: Hindrance) -> dict[str, Any]:
    """Return a hindrance as JSON tells it."""
    return {
        "code": one.code,
        "words": one.words,
        "what_to_do": one.what_to_do,
        "reason_passes": one.reason_passes,
        "clears_at": None if one.clears_at is None else one.clears_at.isoformat(),
    }


def read_passing(passing: Passing) -> Passing:
    """Return the reason and the name as given, or refuse one without the other."""
    reason, name = passing.reason.strip(), passing.decided_by.strip()
    if bool(reason) != bool(name):
        missing = "decided_by" if reason else "gate_reason"
        raise Invalid.one(
            missing, "missing", f"{missing} is empty; give the reason and the name together."
        )
    if reason and len(reason) < LEAST_REASON:
        raise Invalid.one(
            "gate_reason",
            "too_short",
            f"The reason is {reason}; write at least {LEAST_REASON} letters.",
        )
    return Passing(reason, name, passing.already)


def _refusal(entry: BatchEntry, rows: Iterable[Hindrance], barred: bool) -> str:
    what = "mixed" if entry.kind == EntryKind.CONTACT else "poured"
    told = " ".join(f"{one.words} {one.what_to_do}" for one in rows)
    way = "" if barred else " To go on all the same, give a reason and the name of who decides."
    return f"Batch {entry.batch.number} is not ready to be {what}. {told}{way}"


def _cans(info: SystemInfo, rows: Sequence[Weighing], site: Site) -> tuple[CanInPot, ...]:
    wanted = {role: material.name for role, material in components_of(info).items()}
    cans = stores.containers_by_id(row.container_id for row in rows)
    seen = {(row.container_id, row.line.role) for row in rows}
    return tuple(
        CanInPot(
            cans[container].code,
            cans[container].lot_code,
            cans[container].lot_status,
            cans[container].usable_until,
            cans[container].material_name,
            wanted[role],
            since_and_why(cans[container].lot_since, cans[container].lot_reason, site),
        )
        for container, role in sorted(seen)
    )


def _lifts(portions: Sequence[BatchPortion], at: datetime) -> tuple[TargetLift, ...]:
    lifts = list(
        Lift.objects.filter(portions__in=portions)
        .select_related("pour__stands_on__order", "pour__order")
        .distinct()
        .order_by("pour", "number")
    )
    steps: dict[int, list[PourStep]] = {}
    pours = {lift.pour_id for lift in lifts}
    for step in PourStep.objects.filter(pour__in=pours).exclude(phase=Phase.AFTER):
        steps.setdefault(step.pour_id, []).append(step)
    return tuple(
        TargetLift(
            str(lift),
            tuple(step.name for step in steps.get(lift.pour_id, ()) if _is_open(step, lift)),
            _underneath(lift, steps.get(lift.pour_id, ()), at),
        )
        for lift in lifts
    )


def _is_open(step: PourStep, lift: Lift) -> bool:
    """Whether a step that comes before a lift is still to be done."""
    if step.done_at is not None:
        return False
    return step.phase == Phase.BEFORE or step.order == lift.number


def _underneath(lift: Lift, steps: Iterable[PourStep], at: datetime) -> tuple[Underneath, ...]:
    found = []
    if lift.number > 1:
        found.append(_lift_below(lift, steps, at))
    carrier = lift.pour.stands_on
    if carrier is not None and carrier.status != PourStatus.CANCELLED:
        found.append(_half_below(carrier, at))
    return tuple(found)


def _lift_below(lift: Lift, steps: Iterable[PourStep], at: datetime) -> Underneath:
    name = f"{lift.pour} lift {lift.number - 1}"
    stands = asked_now(lift.pour, at)
    if stands is None or stands.top.lift.number < lift.number - 1:
        return Underneath(name, False)
    abraded = any(
        step.phase == Phase.BETWEEN
        and step.order == lift.number
        and step.done_at is not None
        and not step.waived
        for step in steps
    )
    # Where it is not known to bond, it counts as a surface that does not.
    closes_at = stands.closes_at or stands.top.poured_at
    opens_at, open_now = stands.opens_at, stands.may_pour_over(at)
    waits = _waits(stands, opens_at, open_now, at, NO_OPENING)
    helps = " and ".join(asks_for(stands.top)) if not open_now else ""
    judge = not open_now and _to_judge(stands, stands.may_judge_open(at), at)
    return Underneath(name, True, opens_at, closes_at, abraded, waits, helps, judge)


def _to_judge(stands: Standing, likely: bool, at: datetime) -> bool:
    """Whether a person may judge what is likely: its clock is up to date, and it was not hot."""
    return likely and not stands.is_asked_again and too_hot(stands.pour, at) is None


def _waits(
    stands: Standing, due: datetime | None, open_now: bool, at: datetime, unknown: str
) -> str:
    """Return why it is not open although no time to come says so."""
    if due is None:
        return AGAIN if stands.is_asked_again else unknown or AGAIN
    return AGAIN if due <= at and not open_now else ""


def _half_below(carrier: Pour, at: datetime) -> Underneath:
    if carrier.status not in CAST:
        return Underneath(str(carrier), False)
    stands = asked_now(carrier, at)
    if stands is None:
        return Underneath(str(carrier), True)
    if carrier.status == PourStatus.DEMOULDED:
        # Told late, a pour may lie before the moment at which the half came off.
        return Underneath(str(carrier), True, opens_at=stands.top.done_at)
    ready_at, ready = stands.ready_at, stands.may_demould(at)
    waits = _waits(stands, ready_at, ready, at, stands.waits_for)
    judge = not ready and _to_judge(stands, stands.may_judge_cured(at), at)
    return Underneath(str(carrier), True, ready_at, waits_for=waits, to_judge=judge)


def _surface(batch: Batch) -> tuple[float | None, float | None]:
    """Return the newest surface temperature of a batch's conditions, and its dew point margin."""
    rows = [
        entry.facts
        for entry in batch.entries.filter(kind=EntryKind.CONDITIONS).order_by("at", "pk")
        if "surface_c" in entry.facts
    ]
    if not rows:
        return None, None
    margin = rows[-1].get("margin_k")
    return float(rows[-1]["surface_c"]), None if margin is None else float(margin)
