"""Two plans of a site side by side: figures, and when each pour is done."""

from __future__ import annotations

import hashlib
import json
from datetime import datetime, timedelta
from typing import Any

from planning.core import plain
from planning.core import plan as core
from planning.schedule.board import finish_min
from planning.schedule.models import WeekPlan


def plan_before(plan: WeekPlan) -> WeekPlan | None:
    """Return the plan that the site worked by when this one was made, whatever its week."""
    return plan.based_on


def side_by_side(old: WeekPlan | None, new: WeekPlan) -> dict[str, Any]:
    """Return the figures of both plans, each pour's end in both, and what moved and why."""
    after = _Content(new)
    before = None if old is None else _Content(old)
    return {
        "figures": [
            {"label": label, "kind": kind, "old": before and before.figure(name), "new": value}
            for label, name, kind in FIGURES
            for value in (after.figure(name),)
        ],
        "pours": [_pour(pour, before, after) for pour in after.pours()],
        "gone": [] if before is None else sorted(before.names[p] for p in before.gone(after)),
        "moves": after.moves(),
        "numbers_gone": after.numbers_gone(),
    }


def seen_mark(compared: dict[str, Any], plan: WeekPlan) -> str:
    """
    Return the mark of a comparison: whoever confirms hands it back to show what they have seen.

    It changes with the plan, with the plan it is compared with, and with every date and move
    shown; reasons found meanwhile leave it as it is.
    """
    shown = {name: value for name, value in compared.items() if name != "pours"}
    pours = [{n: v for n, v in row.items() if n != "reason"} for row in compared["pours"]]
    rows = [plan.pk, plan.based_on_id, shown, pours]
    return hashlib.sha256(json.dumps(rows, default=str).encode()).hexdigest()[:32]


def compared_now(plan: WeekPlan) -> tuple[dict[str, Any], str]:
    """Return a plan beside the one before it, and the mark of that comparison."""
    compared = side_by_side(plan_before(plan), plan)
    return compared, seen_mark(compared, plan)


FIGURES = (
    ("Pours not placed", "unplaced", "count"),
    ("Weighted lateness", "lateness", "minutes"),
    ("Pots mixed", "pots", "count"),
    ("Left in pots", "residue_kg", "mass"),
)


class _Content:
    """One plan with its problem, asked in moments instead of minutes."""

    def __init__(self, plan: WeekPlan) -> None:
        self.problem = plain.from_plain(core.Problem, plan.problem)
        self.plan = plain.from_plain(core.Plan, plan.plan)
        self.names = {pour.id: pour.name or pour.id for pour in self.problem.pours}
        self.due = {pour.id: pour.due_min for pour in self.problem.pours}
        self.placed = {lift.pour for lift in self.plan.lifts} & set(self.names)

    def at(self, minute: int) -> datetime:
        return datetime.fromisoformat(self.problem.origin) + timedelta(minutes=minute)

    def figure(self, name: str) -> Any:
        return getattr(self.plan.figures, name)

    def pours(self) -> list[str]:
        return sorted(self.names, key=lambda pour: (self.due[pour], self.names[pour]))

    def gone(self, other: _Content) -> set[str]:
        return set(self.names) - set(other.names)

    def done(self, pour: str) -> datetime | None:
        unplaced = {one.pour for one in self.plan.unplaced}
        if pour not in self.placed or pour in unplaced:
            return None
        return self.at(finish_min(self.problem, self.plan, pour))

    def lifts(self, pour: str) -> int:
        return sum(lift.pour == pour for lift in self.plan.lifts)

    def numbers_gone(self) -> list[str]:
        """Return confirmed batches that this plan does not go on with."""
        previous = self.problem.previous
        going_on = {batch.id for batch in self.plan.batches}
        return sorted(b.id for b in (previous.batches if previous else ()) if b.id not in going_on)

    def moves(self) -> list[dict[str, Any]]:
        rows = []
        for move in self.plan.moves:
            first, _, rest = move.what.partition(" ")
            rows.append(
                {
                    "what": f"{self.names.get(first, first)} {rest}".strip(),
                    "was": None if move.from_min is None else self.at(move.from_min),
                    "now": None if move.to_min is None else self.at(move.to_min),
                    "reason": move.reason,
                }
            )
        return rows


def _pour(pour: str, before: _Content | None, after: _Content) -> dict[str, Any]:
    now = after.done(pour)
    known = before is not None and pour in before.names
    was = before.done(pour) if before is not None and known else None
    reason = next((one.words for one in after.plan.unplaced if one.pour == pour), "")
    return {
        "id": pour,
        "name": after.names[pour],
        "known": known,
        "was": was,
        "now": now,
        "lifts_was": before.lifts(pour) if before is not None and known else None,
        "lifts_now": after.lifts(pour),
        "later_min": None if was is None or now is None else _minutes(now - was),
        "due": after.at(after.due[pour] - 1),
        "is_late": now is not None and now > after.at(after.due[pour]),
        "reason": reason,
    }


def _minutes(span: timedelta) -> int:
    return round(span.total_seconds() / 60)
