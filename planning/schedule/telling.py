"""Events of orders that come from planning: dates set and moved, pours taken out, lateness."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from planning.core import plan as core
from planning.order_events.actions import add_event, plain
from planning.order_events.queries import last_told
from planning.pours.models import Pour
from planning.schedule.board import finish_min, late_pours
from planning.schedule.week_clock import Clock
from shared.events.kinds import EventKind


def tell_dates(
    *,
    problem: core.Problem,
    answer: core.Plan,
    pours: Iterable[Pour],
    clock: Clock,
    reason: str,
    at: datetime,
    by: Any = None,
) -> None:
    """
    Add an event for each pour that a confirmed plan dates anew, or foresees to be late.

    Call in the transaction of the confirming. A pour that the plan leaves out is told as taken
    out, with the plan's own reason.
    """
    asked = list(pours)
    told = last_told(asked)
    placed = {lift.pour for lift in answer.lifts}
    left_out = {one.pour: one.words for one in answer.unplaced}
    late = dict(late_pours(problem, answer))
    moved = {move.pour: move.reason for move in reversed(answer.moves) if move.pour}
    for pour in asked:
        key, before = str(pour.pk), told.get(pour.pk)
        if key not in placed or key in left_out:
            if before is not None:
                told_taken_out(pour, reason=left_out.get(key, reason), at=at, by=by)
            continue
        new = _dates(problem, answer, key, clock)
        new["late_min"] = late.get(key, 0)
        why = moved.get(key, "") or reason
        _tell(pour, before, new, reason=why if before else reason, at=at, by=by)


def _tell(pour: Pour, before: dict[str, Any] | None, new: dict[str, Any], **said: Any) -> None:
    shown = {name: plain(value) for name, value in new.items()}
    dates = ("pour_from", "done_at")
    if before is None:
        add_event(order=pour.order, pour=pour, kind=EventKind.PLANNED, new=new, **said)
    elif any(before.get(name) != shown[name] for name in dates):
        add_event(order=pour.order, pour=pour, kind=EventKind.MOVED, old=before, new=new, **said)
    if new["late_min"] > (before or {}).get("late_min", 0):
        due = {"due_on": pour.due_on, "done_at": new["done_at"], "late_min": new["late_min"]}
        add_event(order=pour.order, pour=pour, kind=EventKind.LATE, new=due, **said)


def _dates(problem: core.Problem, answer: core.Plan, key: str, clock: Clock) -> dict[str, Any]:
    batches = [b for b in answer.batches if any(p.pour == key for p in b.portions)]
    begins = min(p.start_min for b in batches for p in b.portions if p.pour == key)
    return {
        "pour_from": clock.instant(begins),
        "done_at": clock.instant(finish_min(problem, answer, key)),
    }


def told_taken_out(pour: Pour, *, reason: str, at: datetime, by: Any = None) -> None:
    """Add the event that a pour has no date any more, with the dates it had."""
    before = last_told([pour]).get(pour.pk)
    add_event(
        order=pour.order, pour=pour, kind=EventKind.TAKEN_OUT, old=before, reason=reason, at=at,
        by=by,
    )  # fmt: skip
