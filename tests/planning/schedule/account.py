"""
The shop's own account of what a confirmed plan asks of people, things, stock and orders.

Read straight from the tables, by none of the code that gathers, plans or checks: what it finds
wrong the product has overlooked.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from django.db.models import Q

from planning.batches.models import Batch, BatchStatus
from planning.pours.models import Pour, PourStatus, PourStep
from shop.models import ClosedDay, Container, DayChange, Outage, Shift

ISSUED = (BatchStatus.WEIGHED, BatchStatus.MIXING, BatchStatus.POURED)
HALF_A_GRAM = 0.0005


def faults(site, now):
    """Return what is wrong with all that is planned at a site and has not begun."""
    return [*of_people(site), *of_mixers(site), *of_places(site), *of_stock(site),
            *of_pours(site), *of_steps(site), *of_time(site, now)]  # fmt: skip


def batches(site):
    rows = Batch.objects.filter(site=site, status=BatchStatus.PLANNED)
    return list(rows.prefetch_related("people", "portions__lift__pour__order", "lines"))


def steps(site):
    rows = PourStep.objects.filter(
        pour__order__site=site, planned_start__isnull=False, done_at__isnull=True
    )
    return list(rows.select_related("pour__order").prefetch_related("planned_people"))


def at_work(person, start, end, zone):
    """Whether somebody is in for all of a stretch, by the clock on the wall."""
    begin, until = start.astimezone(zone), end.astimezone(zone)
    day = begin.date()
    if not person.in_use or ClosedDay.objects.filter(site=person.site_id, day=day).exists():
        return False
    minutes = set()
    for shift in Shift.objects.filter(person=person, weekday=day.isoweekday()):
        minutes |= span(shift.starts, shift.ends)
    changes = DayChange.objects.filter(person=person, day=day)
    if changes.filter(starts__isnull=True).exists():
        minutes = set()
    for change in changes.filter(starts__isnull=False, extra=False):
        minutes -= span(change.starts, change.ends)
    for change in changes.filter(extra=True):
        minutes |= span(change.starts, change.ends)
    return span(begin.time(), until.time()) <= minutes


def span(starts: time, ends: time) -> set[int]:
    return set(range(starts.hour * 60 + starts.minute, ends.hour * 60 + ends.minute))


def of_people(site):
    zone = ZoneInfo(site.time_zone)
    busy = defaultdict(list)
    for row in batches(site):
        for person in row.people.all():
            busy[person].append((row.planned_start, row.planned_end, str(row)))
    for step in steps(site):
        if step.hands_min:
            for person in step.planned_people.all():
                busy[person].append((step.planned_start, step.planned_end, str(step)))
    for person, jobs in busy.items():
        yield from overlaps(person, jobs)
        for start, end, what in jobs:
            if not at_work(person, start, end, zone):
                yield f"{person} is not in for {what} at {start}"


def overlaps(who, jobs):
    jobs = sorted(jobs)
    for one, two in pairwise(jobs):
        if two[0] < one[1]:
            yield f"{who} has {one[2]} and {two[2]} at once"


def out(start, end, **thing):
    rows = Outage.objects.filter(starts_at__lt=end, ends_at__gt=start, **thing)
    return rows.exists()


def of_mixers(site):
    busy = defaultdict(list)
    for row in batches(site):
        busy[row.mixer].append((row.planned_contact, row.planned_end, str(row)))
        if not row.mixer.in_use or out(row.planned_contact, row.planned_end, mixer=row.mixer):
            yield f"{row.mixer} is out of use for {row}"
        if row.mixed_kg > row.mixer.largest_kg:
            yield f"{row} is more than {row.mixer} holds"
    for mixer, jobs in busy.items():
        yield from overlaps(mixer, jobs)


def of_places(site):
    stands = defaultdict(list)
    pours = Pour.objects.filter(order__site=site, status=PourStatus.PLANNED)
    for pour in pours.prefetch_related("lifts__place", "steps"):
        lifts = list(pour.lifts.all())
        holding = [s.planned_start for s in pour.steps.all() if s.holds_place and s.planned_start]
        ends = [s.planned_end for s in pour.steps.all() if s.planned_end]
        start = min([lift.planned_start for lift in lifts] + holding)
        end = max([lift.planned_end for lift in lifts] + ends)
        place = lifts[0].place
        if {lift.place_id for lift in lifts} != {place.pk}:
            yield f"{pour} stands in two places"
        if not place.in_use or out(start, end, place=place):
            yield f"{place} is out of use for {pour}"
        stands[place].append((start, end))
    for place, rows in stands.items():
        for start, _ in rows:
            if sum(a <= start < b for a, b in rows) > place.capacity:
                yield f"{place} is full at {start}"


def of_stock(site):
    asked = defaultdict(float)
    for row in batches(site):
        for line in row.lines.all():
            asked[line.container_id] += float(line.target_kg)
            lot = line.container.lot
            if lot.status != "released":
                yield f"{row} takes from lot {lot.code}, which is {lot.status}"
            if lot.expires_on and row.planned_pour_end.date() > lot.expires_on:
                yield f"{row} takes from lot {lot.code}, expired by then"
    for container, kg in asked.items():
        if kg > float(Container.objects.get(pk=container).balance) + HALF_A_GRAM:
            yield f"container {container} is asked for {kg} kg"


def of_pours(site):
    for pour in Pour.objects.filter(order__site=site, status=PourStatus.PLANNED):
        if pour.order.status != "open" or pour.order.held_at is not None:
            yield f"{pour} is planned, its order {pour.order.status}"
        planned = sum(portion.kg for lift in pour.lifts.all() for portion in lift.portions.all())
        if abs(planned - pour.mass_kg) > 0.01:
            yield f"{pour} weighs {pour.mass_kg} kg; {planned} kg are planned"
    lost = Q(portions__lift__pour__status__in=[PourStatus.ASKED, PourStatus.CANCELLED])
    for row in Batch.objects.filter(lost, site=site, status=BatchStatus.PLANNED).distinct():
        yield f"{row} is planned for a pour that is not"


def of_steps(site):
    for pour in Pour.objects.filter(order__site=site, status=PourStatus.PLANNED):
        first = min(lift.planned_start for lift in pour.lifts.all())
        last = max(lift.planned_end for lift in pour.lifts.all())
        before = list(pour.steps.filter(phase="before").order_by("order"))
        ready = None
        for step in before:
            if step.done_at is None and step.planned_start is None:
                yield f"{step} has no time"
                continue
            start = step.planned_start or step.done_at
            if ready is not None and step.done_at is None and start < ready:
                yield f"{step} begins before the one before it is ready"
            ready = (step.done_at or step.planned_end) + timedelta(minutes=step.wait_min)
        if ready is not None and first < ready:
            yield f"{pour} is poured before its mould is ready"
        for step in pour.steps.filter(phase="after", done_at__isnull=True):
            if step.planned_start is None or step.planned_start < last:
                yield f"{step} does not follow the pour"


def of_time(site, now: datetime):
    for row in batches(site):
        if (row.planned_pour_end - row.planned_contact).total_seconds() / 60 > row.pot_life_min:
            yield f"{row} is poured after its pot life"
        if row.planned_start < now - timedelta(minutes=30):
            yield f"{row} was to begin at {row.planned_start}"
