"""What the worker does. A task reads the clock, calls one action and returns a count."""

from __future__ import annotations

from typing import Any

from celery import shared_task

from shared import clock

SCHEDULE: dict[str, dict[str, Any]] = {
    "pick up plans that nobody works out": {
        "task": "planning.tasks.solve_waiting",
        "schedule": 30.0,
    },
}
"""Beat entries of this app; gathered by `shared.config.celery`."""


@shared_task(name="planning.tasks.solve_week")
def solve_week(plan_id: int) -> str:
    """Work out one plan; a second call for the same plan finds nothing to do."""
    from planning.week_plan import actions

    return actions.solve(plan_id=plan_id, now=clock.now()).state


@shared_task(name="planning.tasks.solve_waiting")
def solve_waiting() -> int:
    """Send waiting plans to the workers again: a lost message must not lose a plan."""
    from planning.week_plan import queries

    waiting = queries.waiting_plans(clock.now())
    for plan_id in waiting:
        solve_week.delay(plan_id)
    return len(waiting)
