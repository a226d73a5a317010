"""From the database to a `Problem`: the only step into the planner's core."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from planning.batches.models import Batch
from planning.clocks.standing import standing_of
from planning.core import plan as core
from planning.core import problem as given
from planning.core.step_times import Pace
from planning.pours.models import Pour, PourStatus, PourStep
from planning.pours.setting import Setting, setting_of
from planning.pours.step_times import kind_of, paces
from planning.routes.models import Phase
from planning.rules.actions import rules_of
from planning.schedule.conditions import conditions, deepest_lift_mm
from planning.schedule.kept import (
    began,
    frozen_work,
    kept_batches,
    previous_plan,
    promised_batches,
)
from planning.schedule.week_clock import Clock
from planning.system_data import system_data
from shared.access.models import Site
from shared.units import parse_week
from shop import stores
from shop.stores_types import ContainerInfo, SiteWeek, SystemInfo

LOOK_AHEAD_DAYS = 14
"""From the Monday of the week: long enough for the cures of a week's last pours."""
AFTER_LAST_DAYS = 8
"""After the last day of work that is confirmed: room for it to move, with its cures."""
LATE_READ = timedelta(minutes=30)
"""A plan may be confirmed that long after it was made, though its first work should have begun."""
NO_LIMIT_MIN = 10_000_000
NO_LIMIT_KG = 1e9
MOST_POT_KG = 1000.0
"""A pot as heavy as this keeps its heat as well as any larger one."""


def week_days(week: str) -> tuple[date, date]:
    """Return Monday and Sunday of an ISO week such as 2026-W49."""
    monday = parse_week(week)
    return monday, monday + timedelta(days=6)


def problem_of_week(
    *,
    site: Site,
    week: str,
    now: datetime,
    settings: given.Settings,
    limits: given.Limits,
    freeze: timedelta = timedelta(0),
    warmer_k: float = 0.0,
) -> core.Problem:
    """
    Gather one site's open pours and what there is to pour them with.

    The plan runs from now, or from the first work begun, to the end of the week asked for and
    to the end of all work that is confirmed, whatever its week: nothing confirmed is left out.
    `warmer_k` asks what the week would be in a shop so much warmer than expected, K.
    """
    monday, sunday = week_days(week)
    pours = _open_pours(site.pk, sunday)
    promised = promised_batches(site.pk, pours)
    clock = _clock(
        site, min(monday, now.astimezone(ZoneInfo(site.time_zone)).date()), pours, promised
    )
    first = clock.first_day
    last = max(_last_day(pours, clock) + timedelta(days=AFTER_LAST_DAYS), sunday)
    days = max((monday - first).days + LOOK_AHEAD_DAYS, (last - first).days + 1)
    return _gathered(
        _Basis(site, pours, promised, clock, days, paces_of(site)),
        now=now,
        hours_from=now,
        settings=settings,
        limits=limits,
        freeze=freeze,
        warmer_k=warmer_k,
    )


def problem_again(
    *,
    site: Site,
    basis: core.Problem,
    made_at: datetime,
    now: datetime,
    settings: given.Settings,
) -> core.Problem:
    """
    Ask the question of `basis` again, of the shop as it is now.

    Its minutes, its pours and its estimates of hands-on times are those of `basis`, with what has
    been confirmed or begun since; people, stock, places, temperatures and steps are today's.
    """
    pours = _open_pours(site.pk, None, {int(pour.id) for pour in basis.pours})
    promised = promised_batches(site.pk, pours)
    clock = Clock.of(basis, site)
    end = clock.instant(basis.horizon_min).astimezone(clock.zone).date()
    again = _gathered(
        _Basis(site, pours, promised, clock, (end - clock.first_day).days, {}),
        now=now,
        hours_from=hours_from(made_at, now),
        settings=replace(settings, freeze_until_min=basis.settings.freeze_until_min),
        limits=basis.limits,
    )
    return _with_paces_of(again, basis)


def hours_from(made_at: datetime, now: datetime) -> datetime:
    """Return from when on hours count that are left to a plan made some time before now."""
    return min(now, max(made_at, now - LATE_READ))


def _with_paces_of(problem: core.Problem, basis: core.Problem) -> core.Problem:
    """Keep the hands-on times a plan was made with: each new record moves an estimate a little."""
    known = {step.id: step for pour in basis.pours for step in (*pour.before, *pour.after)}
    done = {task.step for task in problem.frozen.tasks}

    def kept(step: given.Step) -> given.Step:
        old = known.get(step.id)
        if old is None or step.id in done:
            return step
        return replace(step, hands_min=old.hands_min)

    pours = tuple(
        replace(
            pour,
            before=tuple(kept(step) for step in pour.before),
            after=tuple(kept(step) for step in pour.after),
        )
        for pour in problem.pours
    )
    return replace(problem, pours=pours)


@dataclass(frozen=True)
class _Basis:
    """What a problem is gathered for: whose pours, over which days."""

    site: Site
    pours: list[Pour]
    promised: list[Batch]
    clock: Clock
    days: int
    known: Mapping[str, Pace]


def paces_of(site: Site) -> Mapping[str, Pace]:
    """Return the shop's own hands-on times, where its rules say to plan by them."""
    return paces(site.pk) if rules_of(site.pk).own_times else {}


def _gathered(
    basis: _Basis,
    *,
    now: datetime,
    hours_from: datetime,
    settings: given.Settings,
    limits: given.Limits,
    freeze: timedelta = timedelta(0),
    warmer_k: float = 0.0,
) -> core.Problem:
    site, pours, clock, days = basis.site, basis.pours, basis.clock, basis.days
    first = clock.first_day
    shop = _warmed(stores.site_week(site.pk, first, days), warmer_k)
    systems = {info.id: info for info in stores.systems({pour.system_id for pour in pours})}
    shifts = {info.id: info.shifts for info in shop.people}
    batches = kept_batches(basis.promised, pours, now, shifts)
    frozen = frozen_work(pours, batches, clock, now, shifts)
    starts = {
        first + timedelta(days=n): clock.midnight(first + timedelta(days=n)) for n in range(days)
    }
    end = clock.midnight(first + timedelta(days=days))
    people = tuple(_person(info, clock, clock.minute(hours_from)) for info in shop.people)
    return core.Problem(
        origin=clock.origin.isoformat(),
        horizon_min=end,
        people=people,
        mixers=tuple(
            given.Mixer(
                id=str(m.id),
                largest_kg=float(m.largest_kg),
                least_kg=float(m.least_kg),
                name=m.name,
            )
            for m in shop.mixers
        ),
        places=tuple(
            given.Place(id=str(p.id), kind=p.kind, capacity=p.capacity, name=p.name)
            for p in shop.places
        ),
        systems=tuple(
            _system(info, starts, shop, {setting_of(p) for p in pours if p.system_id == info.id})
            for info in systems.values()
        ),
        pours=tuple(
            _pour(pour, systems[pour.system_id], shop, clock, frozen, basis.known)
            for pour in pours
        ),
        lots=_lots(site.pk, systems.values(), clock, end),
        staffed=_staffed(shop, clock),
        day_starts=tuple(starts.values()),
        frozen=frozen,
        previous=previous_plan(site.pk, pours, batches, clock),
        settings=_frozen_until(
            _with_thin_rests(settings, pours, frozen), clock.minute(now + freeze) if freeze else 0
        ),
        limits=limits,
    )


def _warmed(shop: SiteWeek, warmer_k: float) -> SiteWeek:
    if not warmer_k:
        return shop
    more = Decimal(str(warmer_k))
    return replace(shop, expected_c={day: at + more for day, at in shop.expected_c.items()})


def _frozen_until(settings: given.Settings, minute: int) -> given.Settings:
    return replace(settings, freeze_until_min=max(settings.freeze_until_min, minute))


def _with_thin_rests(
    settings: given.Settings, pours: Iterable[Pour], frozen: core.Frozen
) -> given.Settings:
    """Let the rest of a mould that was poured short be as thin as it is."""
    reached = {lift.pour: lift.last_layer for lift in frozen.lifts}
    rests = [
        sum(row["depth_mm"] for row in pour.layers[reached[str(pour.pk)] :])
        for pour in pours
        if str(pour.pk) in reached
    ]
    thinnest = min((rest for rest in rests if rest > 0), default=settings.least_lift_mm)
    return replace(settings, least_lift_mm=min(settings.least_lift_mm, thinnest))


def _open_pours(
    site_id: int, sunday: date | None, asked: Iterable[int] = frozenset()
) -> list[Pour]:
    """
    Return everything planned or begun, and of what is only asked for that which counts.

    With a Sunday that is what is due by the one after and may start by this one; without, the
    pours named in `asked`.
    """
    found = (
        Pour.objects.filter(
            order__site_id=site_id,
            status__in=[
                PourStatus.ASKED,
                PourStatus.PLANNED,
                PourStatus.POURING,
                PourStatus.CURING,
            ],
        )
        .select_related("order", "order__tool")
        .prefetch_related(
            "steps__planned_people", "lifts__place", "lifts__cure", "lifts__portions"
        )
        .order_by("id")
    )
    pours = list(found)
    begun = {PourStatus.PLANNED, PourStatus.POURING, PourStatus.CURING}
    named = set(asked)
    wanted = {
        pour.pk
        for pour in pours
        if pour.status in begun
        or pour.pk in named
        or (
            sunday is not None
            and pour.due_on <= sunday + timedelta(days=7)
            and (pour.earliest_on is None or pour.earliest_on <= sunday)
        )
    }
    below = {pour.pk: pour.stands_on_id for pour in pours}
    for pk in list(wanted):
        lower = below[pk]
        while lower is not None and lower in below:
            wanted.add(lower)
            lower = below[lower]
    return [pour for pour in pours if pour.pk in wanted]


def _last_day(pours: list[Pour], clock: Clock) -> date:
    """Return the last day on which confirmed work is planned."""
    ends = [step.planned_end for pour in pours for step in pour.steps.all()]
    ends += [lift.planned_end for pour in pours for lift in pour.lifts.all()]
    days = [at.astimezone(clock.zone).date() for at in ends if at is not None]
    return max(days, default=clock.first_day)


def _clock(site: Site, first: date, pours: list[Pour], batches: list[Batch]) -> Clock:
    zone = ZoneInfo(site.time_zone)
    begun = [batch.planned_start for batch in batches]
    steps = [step for pour in pours for step in pour.steps.all()]
    begun += [at for step in steps if (at := began(step) or step.planned_start) is not None]
    first = min([first, *(at.astimezone(zone).date() for at in begun)])
    return Clock(datetime.combine(first, time.min, zone), zone)


def _person(info: stores.PersonInfo, clock: Clock, now_min: int) -> given.Person:
    """A person's shifts from now on; what lies in the past can no longer be planned."""
    shifts = []
    for start, end in info.shifts:
        first, last = max(clock.minute(start), now_min), clock.minute(end)
        if first < last:
            shifts.append((first, last))
    return given.Person(
        id=str(info.id), shifts=tuple(shifts), skills=tuple(sorted(info.skills)), name=info.name
    )


def _staffed(shop: SiteWeek, clock: Clock) -> tuple[given.Window, ...]:
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


def _system(
    info: SystemInfo, starts: Mapping[date, int], shop: SiteWeek, settings: set[Setting]
) -> given.System:
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
    )


def _pour(
    pour: Pour,
    info: SystemInfo,
    shop: SiteWeek,
    clock: Clock,
    frozen: core.Frozen,
    known: Mapping[str, Pace],
) -> given.Pour:
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
        tool=pour.order.tool.code,
        name=f"{pour} ({pour.order.tool.name})",
    )


def _stands_on(pour: Pour) -> str | None:
    below = pour.stands_on
    if below is None or below.status in (PourStatus.DEMOULDED, PourStatus.CANCELLED):
        return None
    return str(below.pk)


def _cure_min(pour: Pour) -> int | None:
    """The time the running cure clock gives, once the last lift is poured."""
    stands = standing_of(pour, pour.lifts.all())
    if stands is None or stands.ready_at is None:
        return None
    return max(1, math.ceil((stands.ready_at - stands.top.poured_at).total_seconds() / 60))


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


def _lots(
    site_id: int, systems: Iterable[SystemInfo], clock: Clock, end: int
) -> tuple[given.Lot, ...]:
    materials = {m.id: m for info in systems for m in (info.resin, info.hardener)}
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
