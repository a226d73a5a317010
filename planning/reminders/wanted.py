"""Reading what people must be told from the things themselves: cures, coats, lots, orders."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from django.db.models import Exists, F, Max, OuterRef

from planning.batches.models import Batch, BatchStatus
from planning.clocks.deadline import deadlines
from planning.clocks.models import Cure, Waits
from planning.clocks.standing import Standing, running
from planning.clocks.words import AGAIN, TITLES
from planning.pours.models import OrderStatus, PourStatus, PourStep, ToolOrder
from planning.reminders.models import Kind
from planning.reminders.staffing import last_out
from planning.weigh_in import alarms
from shared import clock
from shared.access.models import Site
from shared.wall_clock import clock_words
from shop import stores

CLOSES_LEAD = timedelta(minutes=60)
"""How long before a lift stops bonding people are told."""
PEAK_LEAD = timedelta(minutes=30)
"""How long before the last person leaves people are told of a later peak."""
POT_LEAD = timedelta(minutes=5)
"""How long before the end of a pot's life people are told."""
LOT_LEAD = timedelta(days=14)
OPEN_POURS = (PourStatus.ASKED, PourStatus.PLANNED, PourStatus.POURING)


@dataclass(frozen=True)
class Wanted:
    """Something to tell, as the things stand now."""

    kind: str
    subject: str
    site_id: int
    due_at: datetime
    title: str
    words: str = ""
    path: str = ""
    sure: bool = True
    """Whether its clock was asked again when its time had come; nobody is told before."""

    @property
    def key(self) -> str:
        """Return the name it keeps for life."""
        return f"{self.kind}:{self.subject}"


Ids = Collection[int] | None
Source = Callable[[datetime, Ids], Iterator[Wanted]]
"""Yields what is wanted now, of all subjects or of those with the given ids."""


def _running(only: Ids) -> Iterator[Cure]:
    rows = Cure.objects.filter(
        done_at__isnull=True,
        lift__pour__status__in=(PourStatus.POURING, PourStatus.CURING),
        lift__pour__order__status=OrderStatus.OPEN,
    )
    if only is not None:
        rows = rows.filter(pk__in=only)
    yield from rows.select_related("lift__pour__order__site")


PAGES = {
    "pour": "/pours/{}/",
    "order": "/orders/",
    "lot": "/stock/lots/{}/",
    "tool": "/tools/{}/",
    "batch": "/batches/{}/",
}
"""Paths of pages. Written out, so that a worker need not load every page to know them."""


def page_of(name: str, pk: int) -> str:
    """Return the path of a thing's page, empty where it has none."""
    return PAGES.get(name, "").format(pk)


def _wall(moment: datetime, cure: Cure) -> str:
    local = clock.local(moment, cure.lift.pour.order.site)
    return f"{local:%a %d %b} {clock_words(local)}"


def _of_cure(kind: str, cure: Cure, due_at: datetime, title: str, words: str) -> Wanted:
    pour = cure.lift.pour
    return Wanted(
        kind, f"cure:{cure.pk}", pour.order.site_id, due_at, title, words, page_of("pour", pour.pk)
    )


def _castings(only: Ids) -> Iterator[Standing]:
    """Castings of open orders, all or those whose top lift's clock has one of the given ids."""
    narrow: dict[str, object] = {"order__status": OrderStatus.OPEN}
    if only is not None:
        narrow["lifts__cure__in"] = only
    for one in running(**narrow):
        if only is None or one.top.pk in only:
            yield one


def cures_complete(now: datetime, only: Ids = None) -> Iterator[Wanted]:
    """
    A casting that may be taken off: the clock of each of its lifts has run.

    Where only a reading or a warmer place lets it, that is told from when on it helps.
    """
    for one in _castings(only):
        if one.awaits_lift:
            continue
        due, title = one.ready_at, f"{one.pour} may be demoulded"
        if due is not None:
            words = f"Cure time runs until {_wall(due, one.top)}: {one.last.basis}."
            sure = due > now or one.may_demould(now)
        else:
            due, title = one.expected_at or one.top.poured_at, f"{one.pour}: {TITLES[_waits(one)]}"
            words, sure = one.waits_for or AGAIN, not one.is_asked_again
        yield replace(_of_cure(Kind.CURE_COMPLETE, one.top, due, title, words), sure=sure)


def _waits(one: Standing) -> Waits:
    return Waits(one.last.waits_for or Waits.NOT_KNOWN)


def lifts_open(now: datetime, only: Ids = None) -> Iterator[Wanted]:
    """A casting that can bear its next lift."""
    for one in _castings(only):
        due = one.opens_at
        if one.awaits_lift and due is not None:
            words = f"Lift {one.top.lift.number} can bear it from {_wall(due, one.top)}."
            if not one.no_window and one.closes_at is not None:
                words += f" It still bonds until {_wall(one.closes_at, one.top)}."
            elif one.closes_at is None:
                words += " It is not known to bond then: abrade first."
            else:
                words += (
                    f" It stops bonding before, {_wall(one.closes_at, one.top)}: abrade first."
                )
            title = f"{one.pour}: the next lift may be poured"
            sure = due > now or one.may_pour_over(now)
            wanted = _of_cure(Kind.NEXT_LIFT_OPENS, one.top, due, title, words)
            yield replace(wanted, sure=sure)


def lifts_close(now: datetime, only: Ids = None) -> Iterator[Wanted]:
    """A casting that soon stops bonding to its next lift, where there is a window at all."""
    for one in _castings(only):
        until, opens = one.closes_at, one.opens_at
        if one.awaits_lift and until is not None and opens is not None and not one.no_window:
            yield _of_cure(
                Kind.NEXT_LIFT_CLOSES,
                one.top,
                min(until, max(opens, until - CLOSES_LEAD)),
                f"{one.pour}: pour the next lift by {_wall(until, one.top)}",
                f"Lift {one.top.lift.number} bonds until then.",
            )


def coats_dry(now: datetime, only: Ids = None) -> Iterator[Wanted]:
    """A coat of release agent that is dry, while nothing has followed it yet."""
    later = PourStep.objects.filter(
        pour=OuterRef("pour"),
        phase=OuterRef("phase"),
        order__gt=OuterRef("order"),
        done_at__isnull=False,
    )
    rows = PourStep.objects.filter(
        ~Exists(later),
        coat_number__isnull=False,
        waived=False,
        done_at__isnull=False,
        wait_min__gt=0,
        pour__status__in=OPEN_POURS,
        pour__order__status=OrderStatus.OPEN,
    )
    if only is not None:
        rows = rows.filter(pk__in=only)
    for step in rows.select_related("pour__order"):
        assert step.done_at is not None
        yield Wanted(
            Kind.COATS_DRY,
            f"step:{step.pk}",
            step.pour.order.site_id,
            step.done_at + timedelta(minutes=step.wait_min),
            f"{step.pour}: coat {step.coat_number} is dry",
            f"{step.name} has dried for {step.wait_min} min.",
            page_of("pour", step.pour_id),
        )


def unattended_peaks(now: datetime, only: Ids = None) -> Iterator[Wanted]:
    """A lift that is hottest after the last one has left the shop."""
    left_at: dict[tuple[int, date], datetime | None] = {}
    for cure in _running(only):
        if cure.peak_passed_at is not None:
            continue
        site = cure.lift.pour.order.site
        day = (site.pk, clock.local(cure.poured_at, site).date())
        if day not in left_at:
            left_at[day] = last_out(site, clock.day_start(day[1], site))
        left = left_at[day]
        if left is not None and left <= cure.poured_at:
            left = None
        until = cure.attend_until
        if left is None or until is None or until > left:
            gone = f"nobody is in the shop after {_wall(left, cure)}" if left else "nobody is in"
            yield _of_cure(
                Kind.UNATTENDED_PEAK,
                cure,
                max(cure.poured_at, (left or cure.poured_at) - PEAK_LEAD),
                f"{cure.lift.pour} peaks with nobody in the shop",
                f"Lift {cure.lift.number} is {_hottest(cure)}; {gone}. Arrange for somebody to "
                "stay.",
            )


def _hottest(cure: Cure) -> str:
    about = cure.peak_best_at or cure.attend_until
    if about is None or cure.attend_until is None:
        return "hottest nobody knows when"
    words = f"hottest about {_wall(about, cure)}"
    late = cure.attend_until
    return words if late == about else f"{words}, perhaps as late as {_wall(late, cure)}"


def _curing_until(only: Ids) -> dict[int, datetime]:
    """Return when the last casting of each open order that cures is expected to be ready."""
    narrow: dict[str, object] = {"order__status": OrderStatus.OPEN, "status": PourStatus.CURING}
    if only is not None:
        narrow["order__in"] = only
    ends: dict[int, datetime] = {}
    for one in running(**narrow):
        at = one.expected_at
        if at is not None:
            ends[one.pour.order_id] = max(at, ends.get(one.pour.order_id, at))
    return ends


def orders_late(now: datetime, only: Ids = None) -> Iterator[Wanted]:
    """An order whose day has passed, or whose confirmed plan ends after it."""
    rows = ToolOrder.objects.filter(status=OrderStatus.OPEN).annotate(
        steps_end=Max("pours__steps__planned_end"),
        lifts_end=Max("pours__lifts__planned_end"),
        planned_at=Max("pours__lifts__portions__batch__plan__confirmed_at"),
    )
    if only is not None:
        rows = rows.filter(pk__in=only)
    curing_until = _curing_until(only)
    for order in rows.select_related("site").order_by(F("due_on"), "pk"):
        due_end = clock.day_end(order.due_on, order.site)
        known = (curing_until.get(order.pk), order.steps_end, order.lifts_end)
        ends = max(filter(None, known), default=None)
        told_at, title = due_end, f"Order {order.number} is past its day"
        words = f"Order {order.number} was due on {order.due_on} and is open."
        if ends is not None and ends > due_end and order.planned_at is not None:
            told_at, title = min(due_end, order.planned_at), f"Order {order.number} will be late"
            days = (clock.local(ends, order.site).date() - order.due_on).days
            words = f"Order {order.number} is due on {order.due_on}; the plan ends {days} d later."
        yield Wanted(
            Kind.ORDER_LATE,
            f"order:{order.pk}",
            order.site_id,
            told_at,
            title,
            words,
            page_of("order", order.pk),
        )


def lots_expiring(now: datetime, only: Ids = None) -> Iterator[Wanted]:
    """A container with something left whose expiry or open life soon ends."""
    rows = list(stores.soon_unusable(now + LOT_LEAD, container_ids=only))
    sites = Site.objects.in_bulk({site_id for site_id, _ in rows})
    materials = stores.materials_by_id({container.material_id for _, container in rows})
    for site_id, container in rows:
        until = container.usable_until
        assert until is not None
        unit = materials[container.material_id].unit
        ends = clock.local(until, sites[site_id])
        yield Wanted(
            Kind.LOT_EXPIRES,
            f"container:{container.id}",
            site_id,
            until - LOT_LEAD,
            f"{container.material_name}, container {container.code}: soon expired",
            f"{container.balance.normalize():f} {unit} left of lot {container.lot_code}; usable "
            f"until {ends:%a %d %b %Y %H:%M}.",
            page_of("lot", container.lot_id),
        )


def tools_due(now: datetime, only: Ids = None) -> Iterator[Wanted]:
    """A tool that has run the shots after which it is coated or inspected again."""
    for need in stores.tools_due(tool_ids=only):
        yield Wanted(
            Kind.TOOL_DUE,
            f"tool:{need.tool_id}",
            need.site_id,
            need.since,
            f"{need.name} is due for {need.work}",
            need.words,
            page_of("tool", need.tool_id),
        )


def pots_in_trouble(now: datetime, only: Ids = None) -> Iterator[Wanted]:
    """A pot of which somebody has told trouble that is not over yet."""
    for entry in alarms.open_entries(only=only):
        who = "Somebody" if entry.by is None else str(entry.by)
        site = entry.batch.site
        yield Wanted(
            Kind.ALARM,
            f"entry:{entry.pk}",
            site.pk,
            entry.recorded_at,
            f"{entry.get_kind_display()}: batch {entry.batch.number}",
            f"{who} told it at {clock.local(entry.at, site):%H:%M}. "
            f"{alarms.what_to_do(entry.kind)[0]}",
            page_of("batch", entry.batch_id),
        )


def pots_alive(now: datetime, only: Ids = None) -> Iterator[Wanted]:
    """A pot that is mixed and not all poured: told shortly before its life is over."""
    rows = Batch.objects.filter(status=BatchStatus.MIXING, contact_at__isnull=False)
    if only is not None:
        rows = rows.filter(pk__in=only)
    batches = list(rows.select_related("site").prefetch_related("entries").order_by("pk"))
    until = deadlines(batches)
    for batch in batches:
        end = until[batch.pk]
        yield Wanted(
            Kind.POT_LIFE_ENDS,
            f"batch:{batch.pk}",
            batch.site_id,
            max(end.counts_from, end.pour_by - POT_LEAD),
            f"Batch {batch.number}: pour by {clock.local(end.pour_by, batch.site):%H:%M}",
            f"{end.pot_life_min} min from first contact; {end.basis}.",
            page_of("batch", batch.pk),
        )


SOURCES: dict[str, Source] = {
    Kind.ALARM: pots_in_trouble,
    Kind.POT_LIFE_ENDS: pots_alive,
    Kind.CURE_COMPLETE: cures_complete,
    Kind.NEXT_LIFT_OPENS: lifts_open,
    Kind.NEXT_LIFT_CLOSES: lifts_close,
    Kind.COATS_DRY: coats_dry,
    Kind.UNATTENDED_PEAK: unattended_peaks,
    Kind.LOT_EXPIRES: lots_expiring,
    Kind.TOOL_DUE: tools_due,
    Kind.ORDER_LATE: orders_late,
}


CLOCKED = (Kind.CURE_COMPLETE, Kind.NEXT_LIFT_OPENS)
"""Kinds that say that something may be done by a clock."""
UNHURRIED = (Kind.LOT_EXPIRES, Kind.TOOL_DUE, Kind.ORDER_LATE)
"""Kinds that look at much and are told to the day: read every few minutes, not every round."""


def all_wanted(now: datetime, kinds: Collection[str] = tuple(SOURCES)) -> dict[str, Wanted]:
    """Return everything of some kinds that is wanted now by key, due or not."""
    return {one.key: one for kind in kinds for one in SOURCES[kind](now, None)}


def still_due(kind: str, subjects: Collection[str], now: datetime) -> set[str]:
    """Return those of some subjects that still ask to be told by now, read afresh."""
    ids = {int(subject.partition(":")[2]) for subject in subjects}
    return {one.subject for one in SOURCES[kind](now, ids) if one.due_at <= now and one.sure}


def not_sure(kind: str, subjects: Collection[str], now: datetime) -> set[str]:
    """Return those of some subjects whose clock must first be asked again, read afresh."""
    ids = {int(subject.partition(":")[2]) for subject in subjects}
    return {one.subject for one in SOURCES[kind](now, ids) if not one.sure}
