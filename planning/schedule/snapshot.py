"""From the database to a `Problem`: the only step into the planner's core."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta, timezone
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db.models import Q

from planning.batches.models import Batch
from planning.core import plan as core
from planning.core import problem as given
from planning.core.step_times import Pace
from planning.pours.models import Pour, PourStatus
from planning.pours.setting import setting_of
from planning.pours.step_times import paces
from planning.rules.actions import rules_of
from planning.schedule import core_values as values
from planning.schedule.kept import (
    STARTED,
    There,
    began,
    frozen_work,
    kept_batches,
    previous_plan,
    promised_batches,
)
from planning.schedule.openings import with_openings
from planning.schedule.stored import stored_plan, within_tolerance
from planning.schedule.week_clock import Clock
from shared.access.models import Site
from shared.units import parse_week
from shop import stores
from shop.stores_types import SiteWeek

LOOK_AHEAD_DAYS = 14
"""From the Monday of the week: long enough for the cures of a week's last pours."""
AFTER_LAST_DAYS = 8
"""After the last day of work that is confirmed: room for it to move, with its cures."""
LATE_READ = timedelta(minutes=30)
"""A plan may be confirmed that long after it was made, though its first work should have begun."""


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
    around = _around(site, basis, pours)
    again = _gathered(
        around,
        now=now,
        hours_from=hours_from(made_at, now),
        settings=replace(settings, freeze_until_min=basis.settings.freeze_until_min),
        limits=basis.limits,
    )
    return _with_paces_of(again, basis)


def confirmed_work(
    *, site: Site, basis: core.Problem, now: datetime, settings: given.Settings
) -> tuple[core.Problem, core.Plan]:
    """
    Return the confirmed work as the tables hold it, with the problem it must answer now.

    `basis` is the problem of the confirmed plan. Only batches begun and steps signed are facts;
    what is printed or pinned is judged like all other work. Hours that are over still count: what
    should have been done by now is late, not impossible.
    """
    pours = _open_pours(site.pk, None)
    around = _around(site, basis, pours)
    problem = _gathered(
        around,
        now=now,
        hours_from=around.clock.origin,
        settings=replace(settings, freeze_until_min=0),
        limits=basis.limits,
        promises=False,
    )
    problem = within_tolerance(_with_paces_of(problem, basis), around.promised)
    return problem, stored_plan(problem, pours, around.promised, around.clock)


def _around(site: Site, basis: core.Problem, pours: list[Pour]) -> _Basis:
    """Return what is to be gathered for pours over the days of an earlier problem."""
    clock = Clock.of(basis, site)
    end = clock.instant(basis.horizon_min).astimezone(clock.zone).date()
    promised = promised_batches(site.pk, pours)
    return _Basis(site, pours, promised, clock, (end - clock.first_day).days, {})


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
    promises: bool = True,
) -> core.Problem:
    site, pours, clock, days = basis.site, basis.pours, basis.clock, basis.days
    first = clock.first_day
    shop = _warmed(stores.site_week(site.pk, first, days), warmer_k)
    systems = {info.id: info for info in stores.systems({pour.system_id for pour in pours})}
    there = There.of(shop)
    batches = [
        batch
        for batch in kept_batches(basis.promised, pours, now, there)
        if promises or batch.status in STARTED
    ]
    frozen = frozen_work(pours, batches, clock, now, there, printed=promises)
    starts = {
        first + timedelta(days=n): clock.midnight(first + timedelta(days=n)) for n in range(days)
    }
    end = clock.midnight(first + timedelta(days=days))
    problem = core.Problem(
        origin=clock.origin.isoformat(),
        horizon_min=end,
        people=tuple(values.person(info, clock, clock.minute(hours_from)) for info in shop.people),
        mixers=tuple(values.mixer(info, clock) for info in shop.mixers),
        places=tuple(values.place(info, clock) for info in shop.places),
        systems=tuple(
            values.system(
                info, starts, shop, {setting_of(p) for p in pours if p.system_id == info.id}
            )
            for info in systems.values()
        ),
        pours=tuple(
            values.pour_of(pour, systems[pour.system_id], shop, clock, frozen, basis.known)
            for pour in pours
        ),
        lots=values.lots_of(site.pk, systems.values(), clock, end),
        staffed=values.staffed(shop, clock),
        day_starts=tuple(starts.values()),
        over_until_min=max(0, clock.minute(hours_from)),
        frozen=frozen,
        previous=previous_plan(site.pk, pours, batches, clock),
        settings=_frozen_until(
            _with_thin_rests(settings, pours, frozen), clock.minute(now + freeze) if freeze else 0
        ),
        limits=limits,
    )
    return with_openings(problem, pours, systems, starts, shop.expected_c, work_out=promises)


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
    pours named in `asked`. Of an order on hold only what is planned or begun counts.
    """
    on_hold = Q(status=PourStatus.ASKED, order__held_at__isnull=False)
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
        .exclude(on_hold)
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
    begins = datetime.combine(first, time.min, zone)
    # With the offset of that day alone: within one zone Python counts by the clock on the wall,
    # which gains or loses an hour in the night the clocks change.
    return Clock(begins.astimezone(timezone(begins.utcoffset() or timedelta(0))), zone)
