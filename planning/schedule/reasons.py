"""Why pours are late or left out, and what would help: looked for once a plan is there."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import F

from planning.core import plain
from planning.core import plan as core
from planning.schedule.board import late_pours
from planning.schedule.models import PlanState, WeekPlan

KEY = "reasons"
"""In `progress`: absent while nobody has looked, then 'looking', then 'done'."""
LAPSES_AFTER = timedelta(minutes=3)
"""A look that has not come back by then is taken up by another worker."""
SECONDS_EACH, SECONDS_ALL = 15.0, 60.0
SHOWN = (PlanState.READY, PlanState.CONFIRMED)


def wanted(plan: WeekPlan) -> bool:
    """Return whether reasons are still to come."""
    return plan.state in SHOWN and plan.plan is not None and plan.progress.get(KEY) != "done"


def look(*, plan_id: int, now: datetime) -> int:
    """
    Look for the reasons of a plan's late and unplaced pours, one after the other.

    Each is written down as soon as it is found. Claimed, so that a second worker finds nothing
    to do; ends early when a later plan of the week is asked for.

    Returns
    -------
    int
        The pours looked into.
    """
    plan = _claim(plan_id, now)
    if plan is None:
        return 0
    problem = plain.from_plain(core.Problem, plan.problem)
    answer = plain.from_plain(core.Plan, plan.plan)
    found, end = 0, time.monotonic() + SECONDS_ALL
    for kind, one in _each(problem, answer, end):
        _write(plan_id, kind, one)
        found += 1
        if WeekPlan.objects.filter(
            site_id=plan.site_id, week=plan.week, revision__gt=plan.revision
        ).exists():
            break
    _settle(plan_id, {KEY: "done"})
    return found


def _each(
    problem: core.Problem, answer: core.Plan, end: float
) -> Iterator[tuple[str, core.Unplaced]]:
    from planning.core.solver.explain import why_late, why_unplaced

    for one in answer.unplaced:
        if not one.change:
            yield "unplaced", why_unplaced(problem, one, _over(end), answer)
    for pour, _ in late_pours(problem, answer):
        reason = why_late(problem, answer, pour, _over(end))
        if reason is not None:
            yield "late", reason


def _over(end: float) -> Callable[[], bool]:
    until = min(end, time.monotonic() + SECONDS_EACH)
    return lambda: time.monotonic() >= until


@transaction.atomic
def _claim(plan_id: int, now: datetime) -> WeekPlan | None:
    plan = WeekPlan.objects.select_for_update().filter(pk=plan_id).first()
    if plan is None or not wanted(plan):
        return None
    begun = plan.progress.get(f"{KEY}_begun")
    if begun is not None and datetime.fromisoformat(begun) > now - LAPSES_AFTER:
        return None
    plan.progress |= {KEY: "looking", f"{KEY}_begun": now.isoformat()}
    plan.save(update_fields=["progress"])
    return plan


@transaction.atomic
def _settle(plan_id: int, progress: dict[str, Any]) -> None:
    plan = WeekPlan.objects.select_for_update().get(pk=plan_id)
    plan.progress |= progress
    plan.version = F("version") + 1
    plan.save(update_fields=["progress", "version"])


@transaction.atomic
def _write(plan_id: int, kind: str, one: core.Unplaced) -> None:
    """Put one reason into the plan, in place of what was said of the pour before."""
    plan = WeekPlan.objects.select_for_update().get(pk=plan_id)
    if plan.plan is None:
        return
    answer = plain.from_plain(core.Plan, plan.plan)
    before: tuple[core.Unplaced, ...] = getattr(answer, kind)
    if any(other.pour == one.pour for other in before):
        rows = tuple(one if other.pour == one.pour else other for other in before)
    else:
        rows = (*before, one)
    plan.plan = plain.to_plain(replace(answer, **{kind: rows}))  # type: ignore[arg-type]
    plan.version = F("version") + 1
    plan.save(update_fields=["plan", "version"])
