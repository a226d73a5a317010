"""The confirmed work as the tables hold it: a plan in the core's words, begun or not."""

from __future__ import annotations

from collections import defaultdict
from contextlib import suppress
from dataclasses import replace

from planning.batches.lifts import lifts_of
from planning.batches.models import Batch, BatchStatus
from planning.core import plan as core
from planning.core import problem as given
from planning.pours.models import Pour
from planning.schedule.board import finish_min
from planning.schedule.kept import STARTED, core_batch, stands_of, task_of
from planning.schedule.week_clock import Clock


def stored_plan(
    problem: core.Problem, pours: list[Pour], batches: list[Batch], clock: Clock
) -> core.Plan:
    """Return all confirmed work; what is frozen in the problem as it is there."""
    live = [batch for batch in batches if batch.status in (BatchStatus.PLANNED, *STARTED)]
    facts = {(t.pour, t.kind, t.step, t.lift) for t in problem.frozen.tasks}
    dated = [
        task_of(step, clock, step.planned_start, step.planned_end)
        for pour in pours
        for step in pour.steps.all()
        if step.planned_start is not None and step.planned_end is not None
    ]
    plan = core.Plan(
        lifts=tuple(lifts_of(pours)),
        batches=tuple(core_batch(batch, clock) for batch in live),
        tasks=(
            *problem.frozen.tasks,
            *(t for t in dated if (t.pour, t.kind, t.step, t.lift) not in facts),
        ),
        stands=tuple(stands_of(pours, clock)),
    )
    return replace(plan, stands=_until_done(problem, plan))


def _until_done(problem: core.Problem, plan: core.Plan) -> tuple[core.Stand, ...]:
    """Let each pour keep its place until it is done, and until what stays there follows it."""
    asked = {pour.id: pour for pour in problem.pours}
    begins = {stand.pour: stand.start_min for stand in plan.stands}
    follows = {
        p.stands_on: begins[p.id] for p in asked.values() if p.same_place and p.id in begins
    }
    rows = []
    for stand in plan.stands:
        ends = [stand.end_min, follows.get(stand.pour, stand.end_min)]
        with suppress(ValueError):  # where nothing is poured into it; the check says so
            ends.append(finish_min(problem, plan, stand.pour))
        rows.append(replace(stand, end_min=max(ends)))
    return tuple(rows)


def within_tolerance(problem: core.Problem, batches: list[Batch]) -> core.Problem:
    """
    Return the problem with cans that hold what is asked of them within the scale's tolerance.

    Weighing takes a few grams more or less than was planned; a can that still gives each of its
    rows the least that row accepts is not short.
    """
    asked: dict[str, float] = defaultdict(float)
    least: dict[str, float] = defaultdict(float)
    for batch in batches:
        if batch.status not in (BatchStatus.PLANNED, BatchStatus.WEIGHING):
            continue
        for line in batch.lines.all():
            if not line.weighings.all():
                asked[str(line.container_id)] += float(line.exact_kg)
                least[str(line.container_id)] += float(line.low_kg)

    def enough(can: given.Container) -> given.Container:
        if least[can.id] - 1e-6 <= can.kg < asked[can.id]:
            return replace(can, kg=asked[can.id])
        return can

    lots = tuple(
        replace(lot, containers=tuple(enough(can) for can in lot.containers))
        for lot in problem.lots
    )
    return replace(problem, lots=lots)
