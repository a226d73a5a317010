"""Rules on one thing after another: gel, gaps, steps, cure, attendance, first and last times."""

from __future__ import annotations

from bisect import bisect_right
from itertools import pairwise

from planning.core.checking.view import (
    Part,
    View,
    condition_at,
    label,
    merged,
    same,
    titled,
    wait_from,
)
from planning.core.plan import Batch, Task
from planning.core.problem import Opening, Pour, Step


def check_times(view: View) -> None:
    """Judge every rule of order and waiting, pour by pour."""
    staffed = merged(
        view.problem.staffed or [shift for p in view.problem.people for shift in p.shifts]
    )
    for pour in view.planned:
        _check_wet_on_wet(view, pour)
        _check_gaps(view, pour)
        _check_steps(view, pour)
        _check_cure(view, pour)
        _check_stands_on(view, pour)
        _check_attended(view, pour, staffed)
        _check_earliest(view, pour)
    _check_last_pour(view)


def _check_wet_on_wet(view: View, pour: Pour) -> None:
    system = view.systems[pour.system]
    for lift in view.lifts_of.get(pour.id, ()):
        pairs = view.portions_of.get((pour.id, lift.lift), [])
        for (below, under), (above, over) in pairwise(pairs):
            gel = condition_at(system, under.contact_min).gel_limit_min
            where = f"Lift {lift.lift} of pour {pour.id}"
            subjects, parts = [pour.id, under.id, over.id], [under, over]
            if above.start_min < below.end_min:
                words = (
                    f"{where}: batch {over.id} is poured from {view.when(above.start_min)}, "
                    f"before batch {under.id} is in at {view.when(below.end_min)}."
                )
                view.report("wet_on_wet", subjects, words, parts)
            if above.end_min > under.contact_min + gel:
                words = (
                    f"{where}: batch {over.id} is in {above.end_min - under.contact_min} min "
                    f"after first contact of batch {under.id} below; the gel limit is {gel} min."
                )
                view.report("wet_on_wet", subjects, words, parts)


def _check_gaps(view: View, pour: Pour) -> None:
    lifts = [lift.lift for lift in view.lifts_of.get(pour.id, ())]
    abrades = [t for t in view.tasks_of.get(pour.id, ()) if t.kind == "abrade"]
    for task in abrades:
        if task.lift not in lifts[1:]:
            words = (
                f"Pour {pour.id} is abraded before lift {task.lift}; there is nothing under it."
            )
            view.report("lift_gap", [pour.id], words, [task])
    for below, above in pairwise(lifts):
        lower, upper = view.poured(pour.id, below), view.poured(pour.id, above)
        if lower is not None and upper is not None and below != above:
            between = [task for task in abrades if task.lift == above]
            _check_gap(view, pour, (below, above), (lower[1], upper[0]), between)


def _check_gap(
    view: View, pour: Pour, lifts: tuple[int, int], times: tuple[int, int], abrades: list[Task]
) -> None:
    system = view.systems[pour.system]
    known = pour.window if pour.window and pour.window.lift == lifts[1] else None
    gap = times[1] - times[0]
    if known is not None:
        opens, closes = known.opens_min - times[0], known.closes_min - times[0]
    else:
        opens, closes = _gap_of(view, pour, lifts[0], times[0])
    last_in = max(view.portions_of[pour.id, lifts[0]], key=lambda pair: pair[0].end_min)[1]
    first_in = view.portions_of[pour.id, lifts[1]][0][1]
    pots = [last_in, first_in]  # these two alone make the gap
    name = f"Lift {lifts[1]} of pour {pour.id} starts {gap} min after the one below was poured"
    if gap < opens:
        words = f"{name}; it needs {opens} min."
        view.report("lift_gap", [pour.id], words, pots)
    if gap > closes:
        why = ""
        if view.problem.settings.overdue_lift == "forbid":
            why = "and lifts past their recoat window are not allowed"
        elif not abrades:
            why = "and it is not abraded first"
        if why:
            words = f"{name}; its recoat window closed at {closes} min, {why}."
            view.report("lift_gap", [pour.id], words, pots)
    above = [batch for _, batch in view.portions_of[pour.id, lifts[1]]]
    mixed = min(above, key=lambda batch: batch.contact_min)
    for task in abrades:
        soonest = times[0] + opens
        _check_abrade(view, task, last_in, mixed, soonest, system.abrade_min)


def _gap_of(view: View, pour: Pour, below: int, end: int) -> tuple[int, int]:
    """Return the least and the greatest gap over a lift poured by a minute."""
    if not pour.openings:
        clocks = condition_at(view.systems[pour.system], end)
        return clocks.gap_least_min, clocks.gap_greatest_min
    depths = [x.depth_mm for x in view.lifts_of[pour.id] if x.lift == below]
    own = [o for o in pour.openings if o.lift == below and same(o.depth_mm, depths[0])]
    in_force: dict[tuple[int, float], Opening] = {}
    for one in sorted(own or pour.openings, key=lambda o: o.from_min):
        key = one.lift, one.depth_mm
        if key not in in_force or one.from_min <= end:
            in_force[key] = one
    held = in_force.values()
    return max(o.least_min for o in held), min(o.greatest_min for o in held)


def _check_abrade(
    view: View, task: Task, below: Batch, above: Batch, soonest: int, lasts_min: int
) -> None:
    name = titled(task)
    if task.end_min - task.start_min != lasts_min:
        words = f"{name} lasts {task.end_min - task.start_min} min; it takes {lasts_min} min."
        view.report("lift_gap", [task.pour], words, [task])
    words = (
        f"{name} runs {view.when(task.start_min)} to {view.when(task.end_min)}; it must lie "
        f"between {view.when(soonest)} and {view.when(above.contact_min)}, when the pot for the "
        "lift above is mixed."
    )
    if task.start_min < soonest:
        view.report("lift_gap", [task.pour], words, [task, below])
    elif task.end_min > above.contact_min:
        view.report("lift_gap", [task.pour], words, [task, above])


def _check_steps(view: View, pour: Pour) -> None:
    before = _present(view, pour, "before")
    after = _present(view, pour, "after")
    for step, task in (*before, *after):
        if task.end_min - task.start_min != step.hands_min:
            words = (
                f"Step {step.id} of pour {pour.id} lasts {task.end_min - task.start_min} min; "
                f"it takes {step.hands_min} min."
            )
            view.report("step_order", [pour.id, step.id], words, [task])
    for chain in (before, after):
        for (step, task), (later, next_task) in pairwise(chain):
            what = f"step {later.id}"
            _check_wait(view, pour, step, task, what, next_task.start_min, [task, next_task])
    poured = view.poured(pour.id, 0)
    if before and poured is not None:
        step, task = before[-1]
        parts = [task, *view.pot_parts(pour.id, 0)]
        _check_wait(view, pour, step, task, "the pour", poured[0], parts)
        most, waited = view.problem.settings.coat_to_pour_most_min, poured[0] - task.end_min
        if most is not None and waited > most:
            words = f"Pour {pour.id} starts {waited} min after step {step.id}; at most {most} min."
            view.report("step_order", [pour.id, step.id], words, parts)
    for batch in view.batches_of.get(pour.id, ()) if before else ():
        step, task = max(before, key=lambda one: one[1].end_min)
        if batch.contact_min < task.end_min:
            words = (
                f"Batch {batch.id} of pour {pour.id} is mixed from "
                f"{view.when(batch.contact_min)}; step {step.id} before the pour ends at "
                f"{view.when(task.end_min)}."
            )
            view.report("step_order", [pour.id, step.id], words, [task, batch])


def _present(view: View, pour: Pour, kind: str) -> list[tuple[Step, Task]]:
    """Return the steps that have a task; report steps without one and tasks without a step."""
    chain: list[tuple[Step, Task]] = []
    for step, task in view.steps_with_tasks(pour, kind):
        if task is None:
            words = f"Step {step.id} ({kind}) of pour {pour.id} is not in the plan."
            view.report("step_order", [pour.id, step.id], words)
        else:
            chain.append((step, task))
    paired = {id(task) for _, task in chain}
    for task in view.tasks_of.get(pour.id, ()):
        if task.kind == kind and id(task) not in paired:
            words = f"Pour {pour.id} has no step {task.step!r} ({kind}) left for this task."
            view.report("step_order", [pour.id, task.step], words, [task])
    return chain


def _check_wait(
    view: View, pour: Pour, step: Step, task: Task, then: str, start: int, parts: list[Part]
) -> None:
    waited, stood = start - wait_from(step, task), start - task.end_min
    name = f"Pour {pour.id}: {then} starts"
    if waited < step.wait_min:
        words = f"{name} {waited} min into the wait after step {step.id} of {step.wait_min} min."
        view.report("step_order", [pour.id, step.id], words, parts)
    if step.longest_wait_min is not None and stood > step.longest_wait_min:
        words = (
            f"{name} {stood} min after step {step.id}; at most {step.longest_wait_min} min may "
            "pass."
        )
        view.report("step_order", [pour.id, step.id], words, parts)


def _check_cure(view: View, pour: Pour) -> None:
    cured, last = view.cured_min(pour), view.last_lift(pour)
    step, task = next(view.steps_with_tasks(pour, "after"), (None, None))
    if step is None or task is None or cured is None or last is None:
        return
    if task.start_min < cured:
        words = (
            f"Step {step.id} of pour {pour.id} starts {view.when(task.start_min)}; the cure runs "
            f"until {view.when(cured)}, {cured - task.start_min} min longer."
        )
        parts = [task, *view.pot_parts(pour.id, last)]
        view.report("cure", [pour.id, step.id], words, parts)


def _work_of(view: View, pour: str) -> list[Task | Batch]:
    return [*view.tasks_of.get(pour, ()), *view.batches_of.get(pour, ())]


def _check_stands_on(view: View, pour: Pour) -> None:
    work = _work_of(view, pour.id)
    if pour.stands_on is None or not work:
        return
    first = min(work, key=lambda part: part.start_min)
    under = view.pours[pour.stands_on]
    if under.id in view.unplaced or not view.has_work(under):
        words = f"Pour {pour.id} is planned, but pour {under.id} under it is not."
        view.report("stands_on", [pour.id, under.id], words, [first])
        return
    done = view.done_min(under)
    if done is not None and first.start_min < done:
        words = (
            f"Pour {pour.id} begins {view.when(first.start_min)}; pour {under.id} under it is "
            f"done at {view.when(done)}."
        )
        parts = [first, max(_work_of(view, under.id), key=lambda part: part.end_min)]
        view.report("stands_on", [pour.id, under.id], words, parts)


def _check_attended(view: View, pour: Pour, staffed: list[tuple[int, int]]) -> None:
    system = view.systems[pour.system]
    for lift in view.lifts_of.get(pour.id, ()):
        poured = view.poured(pour.id, lift.lift)
        if poured is None:
            continue
        end, needed = poured[1], condition_at(system, poured[1]).attend_min
        at = bisect_right(staffed, end, key=lambda window: window[0]) - 1
        until = staffed[at][1] if at >= 0 else end
        if needed and until < end + needed:
            words = (
                f"Lift {lift.lift} of pour {pour.id} is poured by {view.when(end)} and peaks up "
                f"to {needed} min later; the shop is staffed {max(until - end, 0)} min of these."
            )
            view.report("attended", [pour.id], words, view.pot_parts(pour.id, lift.lift))


def _check_earliest(view: View, pour: Pour) -> None:
    for part in _work_of(view, pour.id):
        if part.start_min < pour.earliest_min:
            words = (
                f"Pour {pour.id} may not begin before {view.when(pour.earliest_min)}; "
                f"{label(part)} starts {view.when(part.start_min)}."
            )
            view.report("earliest", [pour.id], words, [part])


def _check_last_pour(view: View) -> None:
    last = view.problem.settings.last_pour_clock_min
    if last is None:
        return
    for batch in view.plan.batches:
        for portion in batch.portions:
            clock = _minute_of_day(view.problem.day_starts, portion.start_min)
            if clock > last:
                words = (
                    f"Batch {batch.id} is poured into pour {portion.pour} {clock} min into the "
                    f"day; the last pour may start at {last} min."
                )
                view.report("last_pour", [batch.id, portion.pour], words, [batch])


def _minute_of_day(day_starts: tuple[int, ...], minute: int) -> int:
    at = bisect_right(day_starts, minute) - 1
    return minute - day_starts[at] if at >= 0 else minute % 1440
