"""
The judge of a confirmed plan: the plan's rows against the simulation's own record.

It reads from the product only what the plan says (batches, lifts, portions, dated steps) and uses
none of the code that gathers, plans or checks.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from planning.batches.models import Batch
from planning.pours.models import Pour, PourStep
from tests.benchmarks.year.book import BEFORE, ZONE, Asked, Book

HELD = ("planned", "pouring", "curing")
IN_WORK = ("planned", "weighing", "weighed", "mixing")
GRAM, MM = 0.006, 0.02
READ_FOR = timedelta(minutes=30)
"""A plan may be read for so long before it is confirmed."""


class Plan:
    """What the confirmed plan says, as it stands in the tables."""

    def __init__(self, site: Any, now: datetime) -> None:
        self.now = now
        self.named: Mapping[int, Any] = {}
        """Pours of which the plan says that they have no place; begun ones among them."""
        rows = Batch.objects.filter(site=site, status__in=IN_WORK).select_related("mixer")
        self.batches = list(
            rows.prefetch_related("people", "portions__lift", "lines").order_by("planned_start")
        )
        found = Pour.objects.filter(order__site=site, status__in=HELD)
        self.pours = {
            pour.pk: pour
            for pour in found.prefetch_related(
                "lifts__portions__batch", "steps__planned_people", "lifts__place"
            )
        }
        self.steps: dict[int, list[PourStep]] = {
            key: sorted(pour.steps.all(), key=lambda s: (s.phase, s.order))
            for key, pour in self.pours.items()
        }

    def phase(self, pour: int, phase: str) -> list[PourStep]:
        return [s for s in self.steps[pour] if s.phase == phase]

    def ends(self, key: int, one: Asked) -> datetime | None:
        """Return when a pour's last step is over by the plan; None where one has no date."""
        found: datetime | None = None
        steps = self.phase(key, "after")
        if len(steps) != len(one.after):
            return None
        for step, rule in zip(steps, one.after, strict=True):
            end = step.done_at or step.planned_end
            if end is None:
                return None
            if rule.oven and step.oven_start:
                end = max(end, step.oven_start)
            found = end + timedelta(minutes=rule.wait_min)
        return found


def wrongs(book: Book, plan: Plan) -> list[str]:
    """Return what is wrong with a plan that has just been confirmed."""
    return [*_people(book, plan), *_mixers(book, plan), *_places(book, plan), *_ovens(book, plan),
            *_stock(book, plan), *_pots(book, plan), *_pours(book, plan)]  # fmt: skip


def _over(who: str, jobs: list[tuple[datetime, datetime, str]]) -> Iterator[str]:
    jobs.sort()
    latest = None
    for job in jobs:
        if latest is not None and job[0] < latest[1]:
            yield f"{who} has {latest[2]} and {job[2]} at once, {job[0]:%d %b %H:%M}"
        if latest is None or job[1] > latest[1]:
            latest = job


def _people(book: Book, plan: Plan) -> Iterator[str]:
    busy: dict[int, list[tuple[datetime, datetime, str]]] = defaultdict(list)
    for row in plan.batches:
        if not row.people.all():
            yield f"{row} has nobody"
        for person in row.people.all():
            start = row.planned_start if row.status == "planned" else plan.now
            busy[person.pk].append((row.planned_start, row.planned_end, f"{row}"))
            if "mixing" not in book.people[person.pk].skills:
                yield f"{book.people[person.pk].name} cannot mix {row}"
            # What was begun before somebody left is finished by those who are there.
            if row.status == "planned" and not book.people[person.pk].is_there(
                start, row.planned_end
            ):
                yield f"{book.people[person.pk].name} is not there for {row}, {start:%d %b %H:%M}"
    for key in plan.pours:
        for step in plan.steps[key]:
            if step.done_at is not None or step.planned_start is None:
                continue
            if not step.planned_people.all():
                yield f"{step} of {key} has nobody"
            for person in step.planned_people.all():
                hand, name = book.people[person.pk], f"{step.name} of {key}"
                busy[person.pk].append((step.planned_start, step.planned_end, name))
                if step.skill and step.skill not in hand.skills:
                    yield f"{hand.name} cannot do {name}"
                if not hand.is_there(step.planned_start, step.planned_end):
                    yield f"{hand.name} is not there for {name}, {step.planned_start:%d %b %H:%M}"
    for key, jobs in busy.items():
        yield from _over(book.people[key].name, jobs)


def _mixers(book: Book, plan: Plan) -> Iterator[str]:
    busy: dict[int, list[tuple[datetime, datetime, str]]] = defaultdict(list)
    for row in plan.batches:
        mixer = book.mixers[row.mixer_id]
        busy[row.mixer_id].append((row.planned_contact, row.planned_end, f"{row}"))
        if float(row.mixed_kg) > mixer.holds + GRAM:
            yield f"{row} is {row.mixed_kg} kg; {mixer.name} holds {mixer.holds} kg"
        if row.status == "planned" and mixer.is_out(row.planned_contact, row.planned_end):
            yield f"{mixer.name} is out of use for {row}, {row.planned_contact:%d %b %H:%M}"
    for key, jobs in busy.items():
        yield from _over(book.mixers[key].name, jobs)


def _places(book: Book, plan: Plan) -> Iterator[str]:
    stands: dict[int, list[tuple[datetime, datetime]]] = defaultdict(list)
    for key, pour in plan.pours.items():
        lifts = [lift for lift in pour.lifts.all() if lift.place_id is not None]
        if not lifts:
            continue
        if len({lift.place_id for lift in lifts}) > 1:
            yield f"pour {key} stands in two places"
        times = [t for lift in lifts for t in (lift.planned_start, lift.planned_end)]
        for step in plan.steps[key]:
            if step.holds_place and (step.planned_end or step.done_at):
                times += [t for t in (step.planned_start, step.planned_end, step.done_at) if t]
        start, end = min(times), max(times)
        stands[lifts[0].place_id].append((start, end))
        place = book.places[lifts[0].place_id]
        if pour.status == "planned" and place.is_out(max(start, plan.now), end):
            yield f"{place.name} is out of use for pour {key}"
    for key, rows in stands.items():
        for start, _ in rows:
            if sum(a <= start < b for a, b in rows) > book.places[key].holds:
                yield f"{book.places[key].name} is over full at {start:%d %b %H:%M}"


def _ovens(book: Book, plan: Plan) -> Iterator[str]:
    loads: dict[int, list[tuple[datetime, datetime]]] = defaultdict(list)
    for key in plan.pours:
        asked = book.pours[key]
        for step, rule in zip(plan.phase(key, "after"), asked.after, strict=False):
            if not rule.oven or step.planned_end is None:
                continue
            if step.oven_id is None:
                yield f"{step.name} of {key} has no oven"
                continue
            begin = max(step.planned_end, step.oven_start or step.planned_end)
            span = (begin, begin + timedelta(minutes=rule.wait_min))
            if span[1] <= plan.now:
                continue
            loads[step.oven_id].append(span)
            oven = book.places[step.oven_id]
            if step.done_at is None and oven.is_out(*span):
                yield f"{oven.name} is out of use for {step.name} of {key}"
    for oven_id, spans in loads.items():
        for start, _ in spans:
            if sum(a <= start < b for a, b in spans) > book.places[oven_id].holds:
                yield f"{book.places[oven_id].name} is over full at {start:%d %b %H:%M}"


def _stock(book: Book, plan: Plan) -> Iterator[str]:
    asked: dict[int, float] = defaultdict(float)
    for row in plan.batches:
        if row.status != "planned":
            continue
        given: dict[str, float] = defaultdict(float)
        for line in row.lines.all():
            asked[line.container_id] += float(line.target_kg)
            given[line.role] += float(line.target_kg)
            can = book.cans[line.container_id]
            if not can.usable_at(row.planned_pour_end):
                yield f"can {line.container_id} is too old for {row} by then"
        resin = next(r for r in _resins(book) if r == row.system.code)
        per = next(one for one in _all(book) if one.code == resin).hardener_per_100
        if given["resin"] and abs(given["hardener"] / given["resin"] * 100 / per - 1) > 0.02:
            yield f"{row} has {given['hardener']:.3f} kg hardener to {given['resin']:.3f} kg resin"
        if abs(sum(given.values()) - float(row.mixed_kg)) > 0.02:
            yield f"{row} is {row.mixed_kg} kg; its rows give {sum(given.values()):.3f} kg"
    for key, kg in asked.items():
        if kg > book.cans[key].kg + GRAM:
            yield f"can {key} is asked for {kg:.3f} kg; it has {book.cans[key].kg:.3f} kg"


def _all(book: Book) -> Iterable[Any]:
    return {one.resin.code: one.resin for one in book.pours.values()}.values()


def _resins(book: Book) -> Iterable[str]:
    return [one.code for one in _all(book)]


def _pots(book: Book, plan: Plan) -> Iterator[str]:
    for row in plan.batches:
        portions = sorted(row.portions.all(), key=lambda p: p.order)
        resins = {book.pours[p.lift.pour_id].resin.code for p in portions}
        if portions and resins != {row.system.code}:
            yield f"{row} of {row.system.code} goes into {resins}"
        if row.status != "planned":
            continue
        resin = book.pours[portions[0].lift.pour_id].resin
        life = timedelta(minutes=resin.pot_life_min)
        last = max(p.planned_end for p in portions)
        if last > row.planned_pour_end or last - row.planned_contact > life:
            yield f"{row} is poured until {last - row.planned_contact} after first contact"
        if float(row.mixed_kg) > resin.vessel_kg + GRAM:
            yield f"{row} is {row.mixed_kg} kg; a pot of {resin.code} is at most {resin.vessel_kg}"
        if sum(float(p.kg) for p in portions) > float(row.mixed_kg) + GRAM:
            yield f"{row} pours more than is mixed"
        for one, two in pairwise(portions):
            if two.planned_start < one.planned_end:
                yield f"{row} is poured into two moulds at once"
        if row.planned_start < plan.now - READ_FOR:
            yield f"{row} was to begin {plan.now - row.planned_start} ago"


def _pours(book: Book, plan: Plan) -> Iterator[str]:
    for key, pour in plan.pours.items():
        one = book.pours[key]
        if not one.wanted and pour.status == "planned":
            yield f"pour {key} is planned though nobody wants it"
        if key in plan.named:
            if pour.status == "planned":
                yield f"pour {key} is planned and said to have no place"
            continue
        if pour.status == "curing":
            yield from _after(plan, key, one, one.cast[-1][2] if one.cast else None)
            continue
        lifts = sorted(pour.lifts.all(), key=lambda lift: lift.number)
        depth = sum(float(lift.depth_mm) for lift in lifts)
        kg = sum(float(p.kg) - float(p.lost_kg) for x in lifts for p in x.portions.all())
        if abs(depth - one.depth_mm) > MM or abs(kg - one.kg) > GRAM * 2:
            yield f"pour {key} is {one.depth_mm} mm, {one.kg:.3f} kg; planned {depth}, {kg:.3f}"
        yield from _lifts(book, plan, key, one, lifts)


def _lifts(book: Book, plan: Plan, key: int, one: Asked, lifts: list[Any]) -> Iterator[str]:
    resin, before = one.resin, None
    for lift in lifts:
        if float(lift.depth_mm) > resin.deepest_mm + MM:
            yield f"pour {key} has a lift of {lift.depth_mm} mm"
        portions = list(lift.portions.all())
        if not portions:
            yield f"pour {key} lift {lift.number} has no pot"
            continue
        poured = all(p.poured_at is not None for p in portions)
        start = min(p.poured_at or p.planned_start for p in portions)
        end = max(p.poured_at or p.planned_end for p in portions)
        if not poured and before is not None:
            gap = (start - before).total_seconds() / 60
            abraded = any(s.order == lift.number for s in plan.phase(key, "between"))
            if gap < resin.gap_least_min:
                yield f"pour {key} lift {lift.number} comes {gap} min after the one below"
            if gap > resin.gap_greatest_min and not abraded:
                yield f"pour {key} lift {lift.number} comes {gap} min later, without abrading"
        if before is None and not poured:
            yield from _before(book, plan, key, one, start)
        before = end
    yield from _after(plan, key, one, before)


def _before(book: Book, plan: Plan, key: int, one: Asked, start: datetime) -> Iterator[str]:
    steps, ready = plan.phase(key, "before"), None
    if [s.name for s in steps] != [rule.name for rule in BEFORE]:
        yield f"pour {key} lacks coats"
    for step, rule in zip(steps, BEFORE, strict=False):
        begin, end = step.planned_start, step.done_at or step.planned_end
        if end is None or (step.done_at is None and begin is None):
            yield f"{step.name} of {key} has no time"
            continue
        if step.done_at is None and ready is not None and begin < ready:
            yield f"{step.name} of {key} begins before the coat below is dry"
        if step.done_at is None and (end - begin) < timedelta(minutes=rule.hands_min):
            yield f"{step.name} of {key} has {end - begin}"
        ready = end + timedelta(minutes=rule.wait_min)
        if rule.longest_wait_min is not None and start - end > timedelta(
            minutes=rule.longest_wait_min
        ):
            yield f"pour {key} begins {start - end} after its last coat"
    if ready is not None and start < ready:
        yield f"pour {key} begins before its coats are dry"
    if one.below is not None:
        low = book.pours[one.below]
        cure = timedelta(minutes=low.resin.demould_min)
        last = low.cast[-1][2] if low.done_at or _is_cast(plan, one.below) else None
        if last is None and one.below in plan.pours:
            lifts = plan.pours[one.below].lifts.all()
            last = max((x.planned_end for x in lifts), default=None)
        if low.done_at is None and (last is None or start < last + cure):
            yield f"pour {key} begins before the half below it is cured"


def _is_cast(plan: Plan, key: int) -> bool:
    pour = plan.pours.get(key)
    return pour is not None and pour.status == "curing"


def _after(plan: Plan, key: int, one: Asked, last: datetime | None) -> Iterator[str]:
    steps = plan.phase(key, "after")
    if [s.name for s in steps] != [rule.name for rule in one.after]:
        yield f"pour {key} has steps {[s.name for s in steps]} after its cure"
        return
    ready = None if last is None else last + timedelta(minutes=one.resin.demould_min)
    for step, rule in zip(steps, one.after, strict=True):
        if step.done_at is None:
            if step.planned_start is None:
                yield f"{step.name} of {key} has no time"
                return
            if ready is not None and step.planned_start < ready:
                yield f"{step.name} of {key} begins {ready - step.planned_start} too early"
        end = step.done_at or step.planned_end
        ready = max(end, step.oven_start or end) + timedelta(minutes=rule.wait_min)


def shown_in_time(page: str) -> dict[int, bool]:
    """Return for each pour on a Week page whether it is said to be in time."""
    from html.parser import HTMLParser

    class Rows(HTMLParser):
        found: dict[int, bool]

        def __init__(self) -> None:
            super().__init__()
            self.found, self.pour, self.inside, self.text = {}, None, False, ""

        def handle_starttag(self, tag: str, attrs: Any) -> None:
            if tag == "section":
                self.inside = dict(attrs).get("aria-label") == "Pours"
            if self.inside and tag == "tr":
                self.pour, self.text = None, ""
            if self.inside and tag == "a" and self.pour is None:
                self.pour = int(dict(attrs)["href"].strip("/").rsplit("/", 1)[-1])

        def handle_data(self, data: str) -> None:
            self.text += data

        def handle_endtag(self, tag: str) -> None:
            if tag == "section":
                self.inside = False
            if self.inside and tag == "tr" and self.pour is not None:
                self.found[self.pour] = "In time" in self.text

    rows = Rows()
    rows.feed(page)
    return rows.found


def local(at: datetime) -> str:
    """Return a moment by the clock on the wall."""
    return f"{at.astimezone(ZONE):%a %d %b %H:%M}"
