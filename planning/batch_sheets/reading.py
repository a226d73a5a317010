"""What the sheets of some days are drawn from, read at once: the queries do not grow with days."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, Q, QuerySet

from planning.batches.lines import lines_with_weights
from planning.batches.models import Batch, BatchPortion, BatchStatus, SheetPrint
from planning.clocks.standing import Standing, running
from planning.pours.models import PourStatus, PourStep
from planning.schedule.models import PlanState, WeekPlan
from shared import clock
from shared.access.models import Site
from shared.units import week_of
from shop import stores
from shop.stores_types import ToolWork

UNFINISHED = (
    BatchStatus.PLANNED,
    BatchStatus.WEIGHING,
    BatchStatus.WEIGHED,
    BatchStatus.MIXING,
)
MOST_BATCHES, MOST_STEPS = 500, 2000
"""At most this many are read, the newest; a page is never without a limit."""


@dataclass(frozen=True)
class Read:
    """Batches, steps, printings, plans and castings of some days at a site."""

    site: Site
    begins: datetime
    """When the first of the days begins; what was planned before has been left undone."""
    batches: list[Batch]
    steps: list[PourStep]
    papers: Mapping[date, SheetPrint]
    plans: Mapping[str, list[WeekPlan]]
    """Confirmed plans by week."""
    castings: list[Standing]
    tool_work: Mapping[date, tuple[ToolWork, ...]]
    """What tools in service want on each day: coats, old wax off, inspections."""

    def batches_on(self, day: date) -> list[Batch]:
        """Return the batches that begin on a day."""
        return [b for b in self.batches if self._is_on(b.planned_start, day)]

    def steps_on(self, day: date) -> list[PourStep]:
        """Return the steps that begin on a day."""
        return [s for s in self.steps if self._is_on(s.planned_start, day)]

    @property
    def left_batches(self) -> list[Batch]:
        """Return the batches that earlier days left unfinished."""
        return [b for b in self.batches if b.planned_start < self.begins]

    @property
    def left_steps(self) -> list[PourStep]:
        """Return the steps that earlier days left unsigned."""
        return [s for s in self.steps if s.planned_start and s.planned_start < self.begins]

    def _is_on(self, moment: datetime | None, day: date) -> bool:
        return moment is not None and clock.local(moment, self.site).date() == day


def window(site: Site, day: date) -> tuple[datetime, datetime]:
    """Return the instants a site's day begins and ends."""
    zone = ZoneInfo(site.time_zone)
    return (
        datetime.combine(day, time.min, zone),
        datetime.combine(day + timedelta(days=1), time.min, zone),
    )


def read(site: Site, first: date, last: date, *, and_before: bool = False) -> Read:
    """
    Read what the sheets from one day to another are drawn from.

    With `and_before` also batches and steps of earlier days that nobody has finished, signed or
    waived; of what has failed nothing is left to do.
    """
    since, until = window(site, first)[0], window(site, last)[1]
    batches, steps = _batches(site), _steps(site)
    in_days = left_batch = left_step = Q(planned_start__gte=since)
    if and_before:
        left_batch = in_days | Q(status__in=UNFINISHED)
        left_step = in_days | (Q(done_at=None) & ~Q(pour__status=PourStatus.FAILED))
    batches = batches.filter(left_batch, planned_start__lt=until)
    steps = steps.filter(left_step, planned_start__lt=until)
    weeks = {week_of(day) for day in _days(first, last)}
    prints = SheetPrint.objects.filter(site=site, day__gte=first, day__lte=last)
    papers: dict[date, SheetPrint] = {}
    for paper in prints.select_related("by"):
        papers.setdefault(paper.day, paper)
    return Read(
        site,
        since,
        list(batches.order_by("-planned_start", "-number")[:MOST_BATCHES])[::-1],
        list(steps.order_by("-planned_start", "-pk")[:MOST_STEPS])[::-1],
        papers,
        confirmed_plans(site, weeks),
        running(order__site=site),
        stores.tool_work(site.pk, _days(first, last), clock.today(site)),
    )


def _days(first: date, last: date) -> list[date]:
    return [first + timedelta(days=n) for n in range((last - first).days + 1)]


def confirmed_plans(site: Site, weeks: Iterable[str]) -> dict[str, list[WeekPlan]]:
    """Return the confirmed plans of some weeks, without what they were worked out from."""
    rows = WeekPlan.objects.filter(site=site, week__in=list(weeks), state=PlanState.CONFIRMED)
    found: dict[str, list[WeekPlan]] = {}
    for plan in rows.defer("problem", "plan"):
        found.setdefault(plan.week, []).append(plan)
    return found


def batches_of(site: Site, day: date) -> QuerySet[Batch]:
    """Return the batches that begin on a day, with all that a sheet shows."""
    begins, ends = window(site, day)
    return _batches(site).filter(planned_start__gte=begins, planned_start__lt=ends)


def _batches(site: Site) -> QuerySet[Batch]:
    """Return batches with all that a sheet shows; six queries, however many they are."""
    portions = BatchPortion.objects.select_related("lift__pour__order__tool", "lift__place")
    return (
        Batch.objects.filter(site=site)
        .exclude(status=BatchStatus.CANCELLED)
        .select_related("mixer", "scale", "plan", "system", "site")
        .defer("plan__problem", "plan__plan")
        .prefetch_related(
            "people",
            Prefetch("lines", lines_with_weights()),
            "entries",
            Prefetch("portions", portions),
            "portions__lift__pour__lifts",
        )
        .order_by("planned_start", "number")
    )


def steps_of(site: Site, day: date) -> QuerySet[PourStep]:
    """Return the steps of work planned for a day: coats, barriers, demoulding, cleaning."""
    begins, ends = window(site, day)
    return _steps(site).filter(planned_start__gte=begins, planned_start__lt=ends)


def _steps(site: Site) -> QuerySet[PourStep]:
    return (
        PourStep.objects.filter(pour__order__site=site)
        .exclude(pour__status=PourStatus.CANCELLED)
        .select_related("pour__order__tool", "oven")
        .prefetch_related("planned_people")
        .order_by("planned_start", "pk")
    )
