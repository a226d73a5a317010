"""Whether a pour of a plan will be in time, as far as that is known at this minute."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from planning.core import plan as core
from planning.pours.models import Pour, PourStatus, PourStep
from planning.routes.models import Phase
from planning.schedule.board import finish_min
from planning.schedule.models import PlanState, WeekPlan
from planning.schedule.week_clock import Clock
from shared import clock

GONE = (PourStatus.ASKED, PourStatus.CANCELLED, PourStatus.FAILED)
WRITTEN_AFTER = timedelta(minutes=30)
"""Work counts as not done when nobody has written it down so long after its planned end."""
ENOUGH_KG = Decimal("0.001")


@dataclass(frozen=True)
class Promise:
    """What is said of a pour: when it is done and due, and whether it is in time."""

    done_at: datetime | None
    """None where it is not known."""
    due_at: datetime
    why_not: str = ""
    """Why the plan's time says nothing any more; empty where it still does."""

    @property
    def late(self) -> timedelta | None:
        """Return how late it will be; None in time, or where it is not known."""
        if self.done_at is None or self.why_not or self.done_at <= self.due_at:
            return None
        return self.done_at - self.due_at


def promises(
    plan: WeekPlan, problem: core.Problem, answer: core.Plan, now: datetime
) -> Mapping[str, Promise]:
    """
    Return what is said of each pour that a plan pours, by its id.

    The plan tells when each is done. Of the plan that the site works by, what has happened since
    counts too: another due date, a pour that left the plan, a pot that died, work not begun.
    """
    placed = {lift.pour for lift in answer.lifts} & {pour.id for pour in problem.pours}
    moments = Clock.of(problem, plan.site)
    left_out = {one.pour for one in answer.unplaced}
    due = {pour.id: moments.instant(pour.due_min) for pour in problem.pours}
    found = {
        key: Promise(None, due[key], "The rest has no place")
        if key in left_out
        else Promise(moments.instant(finish_min(problem, answer, key)), due[key])
        for key in placed
    }
    if plan.state != PlanState.CONFIRMED:
        return found
    rows = Pour.objects.filter(pk__in=[int(key) for key in placed]).prefetch_related(
        "steps", "lifts__portions"
    )
    for pour in rows:
        said = found[str(pour.pk)]
        found[str(pour.pk)] = Promise(
            _ended(pour) or said.done_at,
            clock.day_end(pour.due_on, plan.site),
            said.why_not or _why_not(pour, now),
        )
    return found


def _ended(pour: Pour) -> datetime | None:
    """Return when a pour was really done: its last step signed, and what that step waits for."""
    after = [step for step in pour.steps.all() if step.phase == Phase.AFTER]
    if pour.status != PourStatus.DEMOULDED or any(step.done_at is None for step in after):
        return None
    ends = [
        max(step.done_at, step.oven_start or step.done_at) + timedelta(minutes=step.wait_min)
        for step in after
        if step.done_at is not None
    ]
    return max(ends, default=None)


def _why_not(pour: Pour, now: datetime) -> str:
    """Return why the times planned for a pour no longer hold; empty if they may."""
    if pour.status in GONE:
        return "Not planned any more" if pour.status == PourStatus.ASKED else str(
            pour.get_status_display()
        )  # fmt: skip
    steps = [step for step in pour.steps.all() if step.done_at is None]
    if pour.status in (PourStatus.PLANNED, PourStatus.POURING):
        lifts = list(pour.lifts.all())
        wanted = sum((Decimal(str(row["mass_kg"])) for row in pour.layers), Decimal(0))
        there = sum((p.kg - p.lost_kg for x in lifts for p in x.portions.all()), Decimal(0))
        if there < wanted - ENOUGH_KG - len(lifts) * ENOUGH_KG:
            return "Not all of it is planned"
        poured = [p.planned_end for x in lifts for p in x.portions.all() if p.poured_at is None]
        if any(at < now - WRITTEN_AFTER for at in poured):
            return "Behind the plan"
    return _steps_why_not(steps, now)


def _steps_why_not(steps: Iterable[PourStep], now: datetime) -> str:
    for step in steps:
        if step.planned_end is None:
            return "Not all of it is planned"
        if step.planned_end < now - WRITTEN_AFTER:
            return "Behind the plan"
    return ""
