"""What a `Problem` is made of, from rows of planning and plain values of the stores."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from decimal import Decimal

from planning.clocks.standing import standing_of
from planning.core import plan as core
from planning.core import problem as given
from planning.core.step_times import Pace
from planning.pours.models import Pour, PourStatus, PourStep
from planning.pours.setting import Setting, setting_of
from planning.pours.step_times import kind_of
from planning.routes.models import Phase
from planning.schedule.conditions import conditions, deepest_lift_mm
from planning.schedule.week_clock import Clock
from planning.system_data import system_data
from shop import stores
from shop.stores_types import ContainerInfo, MixerInfo, PlaceInfo, SiteWeek, SystemInfo

NO_LIMIT_MIN = 10_000_000
NO_LIMIT_KG = 1e9
MOST_POT_KG = 1000.0
"""A pot as heavy as this keeps its heat as well as any larger one."""


def person(info: stores.PersonInfo, clock: Clock, now_min: int) -> given.Person:
    """A person's shifts from now on; what lies in the past can no longer be planned."""
    shifts = []
    for start, end in info.shifts:
        first, last = max(clock.minute(start), now_min), clock.minute(end)
        if first < last:
            shifts.append((first, last))
    return given.Person(
        id=str(info.id), shifts=tuple(shifts), skills=tuple(sorted(info.skills)), name=info.name
    )


def mixer(info: MixerInfo, clock: Clock) -> given.Mixer:
    """Return a mixer with the times it is out of use."""
    return given.Mixer(
        id=str(info.id),
        largest_kg=float(info.largest_kg),
        least_kg=float(info.least_kg),
        closed=closed_minutes(info, clock),
        name=info.name,
    )


def place(info: PlaceInfo, clock: Clock) -> given.Place:
    """Return a bench, an oven or floor space with the times it is out of use."""
    return given.Place(
        id=str(info.id),
        kind=info.kind,
        capacity=info.capacity,
        closed=closed_minutes(info, clock),
        name=info.name,
    )


def closed_minutes(info: MixerInfo | PlaceInfo, clock: Clock) -> tuple[given.Window, ...]:
    """Return when something is out of use, whole minutes outwards."""
    return tuple((clock.minute(start), clock.minute_up(end)) for start, end in info.closed)


def staffed(shop: SiteWeek, clock: Clock) -> tuple[given.Window, ...]:
    """From the first to the last shift of each day, breaks included."""
    by_day: dict[date, list[tuple[int, int]]] = defaultdict(list)
    for person in shop.people:
        for start, end in person.shifts:
            day = start.astimezone(clock.zone).date()
            by_day[day].append((clock.minute(start), clock.minute(end)))
    return tuple(
        (min(start for start, _ in windows), max(end for _, end in windows))
        for _, windows in sorted(by_day.items())
    )


def _pot_kg(info: SystemInfo) -> float:
    """Return the largest pot by vessel and by what is known of its heat, kg."""
    vessel_kg = math.inf if info.vessel_kg is None else float(info.vessel_kg)
    return min(vessel_kg, system_data(info).pot_limit_kg, NO_LIMIT_KG)


def _heaviest_kg(info: SystemInfo, shop: SiteWeek) -> float | None:
    """Return the heaviest pot that may be mixed: a heavy pot warms itself and lives shorter."""
    mixer_kg = max((float(mixer.largest_kg) for mixer in shop.mixers), default=NO_LIMIT_KG)
    heaviest = min(_pot_kg(info), mixer_kg)
    return min(heaviest, MOST_POT_KG) if 0 < heaviest < NO_LIMIT_KG else None


def system(
    info: SystemInfo, starts: Mapping[date, int], shop: SiteWeek, settings: set[Setting]
) -> given.System:
    """Return a resin system with its clocks on each day, for all settings it is cast in."""
    return given.System(
        id=info.code,
        resin=info.resin.code,
        hardener=info.hardener.code,
        resin_name=info.resin.name,
        hardener_name=info.hardener.name,
        hardener_per_100=float(info.hardener_per_100),
        conditions=conditions(info, starts, shop.expected_c, settings, _heaviest_kg(info, shop)),
        deepest_lift_mm=float(info.deepest_lift_mm),
        weigh_min=info.weigh_min,
        mix_min=info.mix_min,
        clean_min=info.clean_min,
        pour_rate_kg_min=float(info.pour_rate_kg_min),
        move_min=info.move_min,
        vessel_kg=_pot_kg(info),
        least_batch_kg=float(info.least_batch_kg),
        most_tools_per_batch=info.most_tools_per_batch,
        residue_fixed_kg=float(info.residue_fixed_kg),
        residue_share=float(info.residue_share),
        abrade_min=info.abrade_min,
        skill="mixing",
        name=info.name,
        further=tuple(
            given.Component(one.name, one.material.code, float(one.per_100), one.material.name)
            for one in info.further
        ),
    )


def pour_of(
    pour: Pour,
    info: SystemInfo,
    shop: SiteWeek,
    clock: Clock,
    frozen: core.Frozen,
    known: Mapping[str, Pace],
) -> given.Pour:
    """Return a pour with its steps, each with the time the shop's own records give its kind."""
    key = str(pour.pk)
    kept = [t.start_min for t in frozen.tasks if t.pour == key]
    kept += [b.start_min for b in frozen.batches if any(p.pour == key for p in b.portions)]
    earliest = 0 if pour.earliest_on is None else max(0, clock.midnight(pour.earliest_on))
    steps = [step for step in pour.steps.all() if step.phase != Phase.BETWEEN]
    steps.sort(key=lambda step: step.order)
    return given.Pour(
        id=key,
        system=info.code,
        layers=tuple(given.Layer(row["depth_mm"], row["mass_kg"]) for row in pour.layers),
        place_kind=pour.place_kind,
        due_min=clock.midnight(pour.due_on + timedelta(days=1)),
        before=tuple(_step(s, known) for s in steps if s.phase == Phase.BEFORE),
        after=tuple(_step(s, known) for s in steps if s.phase == Phase.AFTER),
        stands_on=_stands_on(pour),
        same_place=pour.same_place and _stands_on(pour) is not None,
        earliest_min=min([earliest, *kept]),
        weight=pour.priority,
        may_share=pour.may_share,
        deepest_lift_mm=deepest_lift_mm(info, setting_of(pour), shop.expected_c.values()),
        cure_min=_cure_min(pour),
        window=_window(pour, clock),
        tool=pour.order.tool.code,
        name=f"{pour} ({pour.order.tool.name})",
    )


def _stands_on(pour: Pour) -> str | None:
    below = pour.stands_on
    if below is None or below.status in (PourStatus.DEMOULDED, PourStatus.CANCELLED):
        return None
    return str(below.pk)


def _cure_min(pour: Pour) -> int | None:
    """The time the running cure clock gives, once the last lift is poured and it is known."""
    stands = standing_of(pour, pour.lifts.all())
    ends = None if stands is None else stands.expected_at
    if stands is None or ends is None:
        return None
    return max(1, math.ceil((ends - stands.top.poured_at).total_seconds() / 60))


def _window(pour: Pour, clock: Clock) -> given.LiftWindow | None:
    """
    Return when the lift above the poured ones may follow, by the clocks that run in them.

    It is what the gate asks too when the pot is to be mixed. None where nothing is poured, or
    where it is not known when the casting bears another lift.
    """
    stands = standing_of(pour, pour.lifts.all())
    opens_at = None if stands is None else stands.opens_at
    if stands is None or opens_at is None:
        return None
    opens = clock.minute_up(opens_at)
    # Where it is not known to bond, it counts as a surface that does not.
    closes = opens - 1 if stands.closes_at is None else clock.minute(stands.closes_at)
    return given.LiftWindow(stands.top.lift.number, opens, closes)


def _step(step: PourStep, known: Mapping[str, Pace]) -> given.Step:
    """A step with the hands-on time the shop's own records give its kind."""
    longest = step.longest_wait_min
    pace = known.get(kind_of(step.name), Pace())
    return given.Step(
        id=str(step.pk),
        name=step.name,
        hands_min=step.hands_min if step.done_at else pace.minutes(step.hands_min),
        wait_min=step.wait_min,
        skill=step.skill,
        hands=step.hands,
        longest_wait_min=None if longest is None else max(longest, step.wait_min),
        holds_place=step.holds_place,
        oven_cycle=step.oven_cycle,
    )


def lots_of(
    site_id: int, systems: Iterable[SystemInfo], clock: Clock, end: int
) -> tuple[given.Lot, ...]:
    """Return what is on the shelf for the systems, and what is on its way before the end."""
    materials = {m.id: m for info in systems for m in info.materials}
    found = stores.containers(site_id, materials)
    ours = stores.reserved_by_container([c.id for c in found], prefix="batch:")
    by_lot: dict[int, list[ContainerInfo]] = defaultdict(list)
    for container in found:
        by_lot[container.lot_id].append(container)
    lots = [
        given.Lot(
            id=str(lot_id),
            material=rows[0].material_code,
            code=rows[0].lot_code,
            containers=tuple(
                _container(row, row.free + ours.get(row.id, Decimal(0)), clock) for row in rows
            ),
        )
        for lot_id, rows in by_lot.items()
    ]
    for n, receipt in enumerate(stores.expected_receipts(site_id, materials)):
        arrives = clock.minute(receipt.expected_at)
        if arrives < end:
            name = f"receipt-{n + 1}"
            can = given.Container(
                name, float(receipt.quantity), NO_LIMIT_MIN, available_from_min=max(0, arrives)
            )
            lots.append(given.Lot(name, materials[receipt.material_id].code, (can,), "on order"))
    return tuple(lots)


def _container(row: ContainerInfo, kg: Decimal, clock: Clock) -> given.Container:
    usable = NO_LIMIT_MIN if row.usable_until is None else clock.minute(row.usable_until)
    return given.Container(
        id=str(row.id),
        kg=max(0.0, float(kg)),
        usable_until_min=usable,
        opened=row.opened_at is not None,
        open_life_min=None if row.open_life_days is None else row.open_life_days * 1440,
    )
