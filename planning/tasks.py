"""What the worker does. A task reads the clock, calls one action and returns a count."""

from __future__ import annotations

from typing import Any

from celery import shared_task
from celery.schedules import crontab
from django.conf import settings

from shared import clock

SCHEDULE: dict[str, dict[str, Any]] = {
    "read patterns that nobody reads": {
        "task": "planning.tasks.examine_waiting",
        "schedule": 30.0,
    },
    "throw away files of no pattern": {
        "task": "planning.tasks.sweep_pattern_files",
        "schedule": 24 * 3600.0,
    },
    "pick up plans that nobody works out": {
        "task": "planning.tasks.solve_waiting",
        "schedule": 30.0,
    },
    "go round the reminders": {
        "task": "planning.tasks.sweep_reminders",
        "schedule": float(getattr(settings, "REMINDER_SWEEP_S", 20)),
        # A round that waited this long in the queue has been overtaken by the next.
        "options": {"expires": 60},
    },
    "send reminders that are due": {
        "task": "planning.tasks.send_reminders",
        "schedule": float(getattr(settings, "REMINDER_SEND_S", 5)),
        "options": {"expires": 10},
    },
    "forget old messages": {
        "task": "planning.tasks.forget_old_messages",
        "schedule": 24 * 3600.0,
    },
}
"""Beat entries of this app; gathered by `shared.config.celery`."""
if settings.SANDBOX:
    SCHEDULE["make the sandbox anew"] = {
        "task": "planning.tasks.make_sandbox_anew",
        "schedule": crontab(hour="1", minute="30"),
    }


@shared_task(name="planning.tasks.solve_week")
def solve_week(plan_id: int) -> str:
    """Work out one plan; a second call for the same plan finds nothing to do."""
    from planning.schedule import actions

    state = actions.solve(plan_id=plan_id, now=clock.now()).state
    look_for_reasons.delay(plan_id)
    return state


@shared_task(name="planning.tasks.look_for_reasons")
def look_for_reasons(plan_id: int) -> int:
    """Say why pours are late; a second call for the same plan finds nothing to do."""
    from planning.schedule import reasons

    return reasons.look(plan_id=plan_id, now=clock.now())


@shared_task(name="planning.tasks.answer_trial")
def answer_trial(trial_id: int) -> str:
    """Answer what-if questions; a second call for the same ones finds nothing to do."""
    from planning.trials import actions as trials

    return trials.answer(trial_id=trial_id).state


@shared_task(name="planning.tasks.solve_waiting")
def solve_waiting() -> int:
    """Send waiting plans and questions out again: a lost message must lose none of them."""
    from planning.schedule import queries
    from planning.trials import queries as trials_queries

    now = clock.now()
    plans, trials = queries.waiting_plans(now), trials_queries.waiting_trials(now)
    unexplained = queries.unexplained_plans(now)
    for plan_id in plans:
        solve_week.delay(plan_id)
    for trial_id in trials:
        answer_trial.delay(trial_id)
    for plan_id in unexplained:
        look_for_reasons.delay(plan_id)
    return len(plans) + len(trials) + len(unexplained)


@shared_task(name="planning.tasks.sweep_reminders")
def sweep_reminders() -> int:
    """Go round once: bring reminders up to date, tell what is due, send what is to be sent."""
    from planning.reminders.sweep import database_clock, sweep

    return sweep(database_clock()).handled


@shared_task(name="planning.tasks.look_at_clocks")
def look_at_clocks() -> int:
    """Work out the clocks that wait; a second call finds nothing to do."""
    from planning.clocks.asking import A_ROUND, look_at_waiting

    count = done = look_at_waiting(clock.now())
    while done == A_ROUND:
        done = look_at_waiting(clock.now())
        count += done
    return count


@shared_task(name="planning.tasks.send_reminders")
def send_reminders() -> int:
    """Tell and send what is due already, without going round."""
    from planning.reminders.sweep import database_clock, send_now

    return send_now(database_clock())


@shared_task(name="planning.tasks.forget_old_messages")
def forget_old_messages() -> int:
    """Delete messages and reminders past their time."""
    from planning.reminders import actions

    return actions.forget_old(clock.now())


@shared_task(name="planning.tasks.examine_pattern")
def examine_pattern(pattern_id: int) -> str:
    """Read and examine one pattern; a second call for the same pattern finds nothing to do."""
    from planning.patterns import actions

    return actions.examine(pattern_id=pattern_id, now=clock.now()).state


@shared_task(name="planning.tasks.examine_waiting")
def examine_waiting() -> int:
    """Send waiting patterns to the workers again: a lost message must not lose a pattern."""
    from planning.patterns import queries

    waiting = queries.waiting(clock.now())
    for pattern_id in waiting:
        examine_pattern.delay(pattern_id)
    return len(waiting)


@shared_task(name="planning.tasks.sweep_pattern_files")
def sweep_pattern_files() -> int:
    """Delete pattern files that belong to no row."""
    from planning.patterns import actions

    return actions.sweep_files(clock.now())


@shared_task(name="planning.tasks.make_sandbox_anew")
def make_sandbox_anew() -> int:
    """Make the sandbox anew and return how many tokens stayed."""
    from planning.sandbox import actions

    return len(actions.make_anew().tokens)
