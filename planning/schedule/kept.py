"""What an earlier plan has fixed: begun, printed and pinned work, as the core writes it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal

from planning.batches.lifts import lifts_of
from planning.batches.models import Batch, BatchStatus
from planning.clocks.standing import standing_of
from planning.core import plan as core
from planning.pours.models import Pour, PourStatus, PourStep
from planning.routes.models import Phase
from planning.schedule.week_clock import Clock
from shop.stores_types import SiteWeek

STARTED = (
    BatchStatus.WEIGHING,
    BatchStatus.WEIGHED,
    BatchStatus.MIXING,
    BatchStatus.POURED,
)


Spans = tuple[tuple[datetime, datetime], ...]


@dataclass(frozen=True)
class There:
    """Who and what a site has: people by their shifts, mixers and places by when out of use."""

    shifts: Mapping[int, Spans]
    mixers: Mapping[int, Spans]
    places: Mapping[int, Spans]

    @classmethod
    def of(cls, shop: SiteWeek) -> There:
        """Return what is there in some days of a site."""
        return cls(
            {info.id: info.shifts for info in shop.people},
            {info.id: info.closed for info in shop.mixers},
            {info.id: info.closed for info in shop.places},
        )

    def staffed(self, work: Batch | PourStep) -> bool:
        """Return whether each of its people is at work all the while, in one stretch."""
        people = work.people if isinstance(work, Batch) else work.planned_people
        start, end = work.planned_start, work.planned_end
        if start is None or end is None:
            return False
        return all(
            any(begin <= start and end <= until for begin, until in self.shifts.get(one.pk, ()))
            for one in people.all()
        )

    def mixer(self, batch: Batch) -> bool:
        """Return whether the mixer of a batch is in use from first contact to its end."""
        return _free(self.mixers, batch.mixer_id, batch.planned_contact, batch.planned_end)

    def place(self, place_id: int | None, start: datetime, end: datetime) -> bool:
        """Return whether a place is in use from `start` to `end`; none is always there."""
        return place_id is None or _free(self.places, place_id, start, end)


def _free(spans: Mapping[int, Spans], key: int | None, start: datetime, end: datetime) -> bool:
    if key is None or key not in spans:
        return False
    return not any(begin < end and start < until for begin, until in spans[key])


def promised_batches(site_id: int, pours: list[Pour]) -> list[Batch]:
    """Return every batch of these pours, whatever has become of it."""
    rows = (
        Batch.objects.filter(site_id=site_id, portions__lift__pour__in=[p.pk for p in pours])
        .distinct()
        .select_related("system")
        .prefetch_related(
            "people", "portions__lift__pour", "lines__container__lot", "lines__weighings"
        )
        .order_by("id")
    )
    return list(rows)


def kept_batches(
    batches: list[Batch], pours: list[Pour], now: datetime, there: There
) -> list[Batch]:
    """
    Return begun work, and printed and pinned work with the lifts it is poured onto.

    A promise can be kept while its hour has not passed unused, its people are still at work then
    and its mixer and place in use, and only if every lift below it, of its own pour or of one it
    stands on, is poured, begun or can still be poured as planned. Then those lower lifts stay as
    well; otherwise it is let go and planned again with them.
    """
    begun = {batch.pk for batch in batches if batch.status in STARTED}
    below = _below(batches, pours)
    out = _without_place(pours, there)
    sound = begun | {
        batch.pk
        for batch in batches
        if batch.status == BatchStatus.PLANNED
        and batch.planned_start >= now
        and below[batch.pk] is not None
        and there.staffed(batch)
        and there.mixer(batch)
        and not out & {portion.lift.pour_id for portion in batch.portions.all()}
    }
    while falls := {pk for pk in sound - begun if not (below[pk] or set()) <= sound}:
        sound -= falls
    kept = begun | {
        batch.pk
        for batch in batches
        if batch.pk in sound and (batch.printed_at is not None or batch.pinned)
    }
    while grows := {low for pk in kept - begun for low in below[pk] or ()} - kept:
        kept |= grows
    return [batch for batch in batches if batch.pk in kept]


def _without_place(pours: list[Pour], there: There) -> set[int]:
    """Return the pours not begun whose place is out of use while they are to stand in it."""
    return {
        pour.pk
        for pour in pours
        if pour.status == PourStatus.PLANNED
        and (stay := _stay(pour)) is not None
        and not there.place(*stay)
    }


def _below(batches: list[Batch], pours: list[Pour]) -> dict[int, set[int] | None]:
    """Return for each batch those of the lifts beneath; None where such a lift lacks some."""
    asked = {pour.pk: pour for pour in pours}
    feeding: dict[tuple[int, int], set[int]] = defaultdict(set)
    poured: dict[tuple[int, int], Decimal] = defaultdict(Decimal)
    mass: dict[tuple[int, int], Decimal] = {}
    for batch in batches:
        for portion in batch.portions.all():
            lift = (portion.lift.pour_id, portion.lift.number)
            feeding[lift].add(batch.pk)
            poured[lift] += portion.kg - portion.lost_kg
            mass[lift] = portion.lift.mass_kg
    found: dict[int, set[int] | None] = {}
    for batch in batches:
        lifts = {
            lift
            for portion in batch.portions.all()
            if portion.lift.pour_id in asked
            for lift in _lifts_below(asked, portion.lift.pour_id, portion.lift.number)
        }
        whole = all(x in mass and poured[x] >= mass[x] - Decimal("0.001") for x in lifts)
        found[batch.pk] = {pk for x in lifts for pk in feeding[x]} if whole else None
    return found


def _lifts_below(asked: dict[int, Pour], pour: int, number: int) -> list[tuple[int, int]]:
    found = [(pour, n) for n in range(1, number)]
    lower = asked[pour].stands_on_id
    if lower in asked:
        count = max((lift.number for lift in asked[lower].lifts.all()), default=1)
        found += [(lower, n) for n in range(1, count + 1)]
    return found


def began(step: PourStep) -> datetime | None:
    """Return when a signed step began, by what it took or else by its hands-on time."""
    if step.done_at is None:
        return None
    took = step.hands_min if step.took_min is None else step.took_min
    return step.done_at - timedelta(minutes=took)


def frozen_work(
    pours: list[Pour],
    batches: list[Batch],
    clock: Clock,
    now: datetime,
    there: There,
    *,
    printed: bool = True,
) -> core.Frozen:
    """
    Return what stays as it is: kept batches with their lifts, and steps.

    Steps that are done stay, those before kept batches, and those printed that follow pours kept
    whole, unless `printed` is false; a printed step before a pour that may move is only in the
    previous plan.
    """
    asked = {pour.pk for pour in pours}
    kept = [core_batch(b, clock) for b in batches]
    served = {(p.pour, p.lift) for b in kept for p in b.portions if int(p.pour) in asked}
    begins: dict[int, datetime] = {}
    for batch in batches:
        for portion in batch.portions.all():
            key = portion.lift.pour_id
            begins[key] = max(batch.planned_start, begins.get(key, batch.planned_start))
    tasks = [
        _kept_task(step, clock, begins.get(pour.pk), _overtaken(step, pour))
        for pour in pours
        for step in pour.steps.all()
    ]
    done = [task for task in tasks if task is not None]
    if printed:
        done += _printed_tasks(pours, {batch.pk for batch in batches}, clock, now, there)
    begun = {p for p, _ in served} | {task.pour for task in done}
    return core.Frozen(
        lifts=tuple(lift for lift in lifts_of(pours) if (lift.pour, lift.lift) in served),
        batches=tuple(kept),
        tasks=tuple(done),
        stands=tuple(
            replace(s, end_min=max(s.end_min, clock.minute(now)))
            for s in stands_of(pours, clock)
            if s.pour in begun
        ),
    )


def _printed_tasks(
    pours: list[Pour], kept: set[int], clock: Clock, now: datetime, there: There
) -> list[core.Task]:
    """Return printed steps after pours of which every batch stays, as far as they still hold."""
    found = []
    for pour in pours:
        lifts = list(pour.lifts.all())
        feeding = [{p.batch_id for p in lift.portions.all()} for lift in lifts]
        if not lifts or not all(batches and batches <= kept for batches in feeding):
            continue
        stands = standing_of(pour, lifts)
        ready = now if stands is None else stands.expected_at or now
        after = [step for step in pour.steps.all() if step.phase == Phase.AFTER]
        for step in sorted(after, key=lambda step: step.order):
            if step.done_at is not None:
                ready = max(ready, step.done_at + timedelta(minutes=step.wait_min))
                continue
            start, end = step.planned_start, step.planned_end
            if step.printed_at is None or start is None or end is None:
                break
            load = step.oven_start or end
            over = load + timedelta(minutes=step.wait_min)
            if start < max(now, ready) or not there.staffed(step):
                break
            if not there.place(step.oven_id, load, over):
                break
            found.append(task_of(step, clock, start, end))
            ready = over
    return found


def task_of(step: PourStep, clock: Clock, start: datetime, end: datetime) -> core.Task:
    """Return a step as the core writes it, with the load of the oven its wait is spent in."""
    between = step.phase == Phase.BETWEEN
    load = None if step.oven_id is None else max(end, step.oven_start or end)
    return core.Task(
        pour=str(step.pour_id),
        kind="abrade" if between else step.phase,  # type: ignore[arg-type]
        step="" if between else str(step.pk),
        people=tuple(sorted(str(p.pk) for p in step.planned_people.all())),
        start_min=clock.minute(start),
        end_min=clock.minute(end),
        lift=step.order - 1 if between else None,
        oven="" if step.oven_id is None else str(step.oven_id),
        oven_start_min=None if load is None else clock.minute(load),
    )


def _overtaken(step: PourStep, pour: Pour) -> datetime | None:
    """When a later step began that is signed: then this one is done too, though nobody signed."""
    later = [
        at
        for one in pour.steps.all()
        if one.phase == step.phase and one.order > step.order and (at := began(one)) is not None
    ]
    return (
        None
        if step.done_at is not None or step.phase == Phase.BETWEEN
        else min(later, default=None)
    )


def _kept_task(
    step: PourStep, clock: Clock, until: datetime | None, overtaken: datetime | None
) -> core.Task | None:
    """A step that is done, or stands before kept work of its pour, signed or not."""
    start, end = began(step), step.done_at
    if overtaken is not None:
        start, end = overtaken - timedelta(minutes=step.hands_min), overtaken
        until = None
    if end is None and until is not None:
        start, end = step.planned_start, step.planned_end
        if start is None or start > until:
            return None
    if start is None or end is None:
        return None
    return task_of(step, clock, start, end)


def stands_of(pours: Iterable[Pour], clock: Clock) -> list[core.Stand]:
    """Return where pours stand, from their first place-holding work to their last."""
    rows = []
    for pour in pours:
        stay = _stay(pour)
        if stay is not None:
            place, start, end = stay
            rows.append(
                core.Stand(str(pour.pk), str(place), clock.minute(start), clock.minute(end))
            )
    return rows


def _stay(pour: Pour) -> tuple[int, datetime, datetime] | None:
    """Return the place of a pour and from when to when it stands there; None where it has none."""
    lifts = [lift for lift in pour.lifts.all() if lift.place_id is not None]
    if not lifts or lifts[0].place_id is None:
        return None
    holding = [
        at
        for step in pour.steps.all()
        if step.holds_place and (at := began(step) or step.planned_start) is not None
    ]
    ends = [step.planned_end for step in pour.steps.all() if step.planned_end is not None]
    start = min([*holding, *(lift.planned_start for lift in lifts)])
    return lifts[0].place_id, start, max([*ends, *(lift.planned_end for lift in lifts)])


def core_batch(batch: Batch, clock: Clock) -> core.Batch:
    """Return a confirmed batch as the core writes it; material already issued has no lots."""
    still_asked = batch.status in (BatchStatus.PLANNED, BatchStatus.WEIGHING)
    lines = [line for line in batch.lines.all() if still_asked and not line.weighings.all()]
    return core.Batch(
        id=batch.number,
        system=batch.system.code,
        mixer=str(batch.mixer_id),
        people=tuple(sorted(str(person.pk) for person in batch.people.all())),
        start_min=clock.minute(batch.planned_start),
        contact_min=clock.minute(batch.planned_contact),
        pour_start_min=clock.minute(batch.planned_pour_start),
        pour_end_min=clock.minute(batch.planned_pour_end),
        end_min=clock.minute(batch.planned_end),
        mixed_kg=float(batch.mixed_kg),
        portions=tuple(
            core.Portion(
                str(p.lift.pour_id),
                p.lift.number - 1,
                float(p.kg - p.lost_kg),
                clock.minute(p.planned_start),
                clock.minute(p.planned_end),
            )
            for p in batch.portions.all()
        ),
        lots=tuple(
            core.LotUse(
                str(line.container.lot_id),
                str(line.container_id),
                line.role,
                float(line.exact_kg),
            )
            for line in lines
        ),
    )


def previous_plan(
    site_id: int, pours: list[Pour], kept: list[Batch], clock: Clock
) -> core.Plan | None:
    """What is confirmed but not begun, so that a new plan moves as little as it can."""
    held = {batch.pk for batch in kept}
    rows = (
        Batch.objects.filter(
            site_id=site_id,
            status=BatchStatus.PLANNED,
            portions__lift__pour__in=[pour.pk for pour in pours],
        )
        .exclude(pk__in=held)
        .distinct()
        .select_related("system")
        .prefetch_related("people", "portions__lift", "lines__container", "lines__weighings")
        .order_by("id")
    )
    batches = tuple(core_batch(batch, clock) for batch in rows)
    tasks = tuple(
        task_of(step, clock, step.planned_start, step.planned_end)
        for pour in pours
        for step in pour.steps.all()
        if step.done_at is None and step.planned_start is not None and step.planned_end is not None
    )
    if not batches and not tasks:
        return None
    return core.Plan(
        lifts=tuple(lifts_of(pours)),
        batches=batches,
        tasks=tasks,
        stands=tuple(stands_of(pours, clock)),
    )
