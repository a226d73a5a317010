"""What if: another technician, a bigger mixer, a warmer shop, a Saturday; nothing is saved."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, replace
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction

from planning.core import plain
from planning.core import plan as core
from planning.core.problem import Settings
from planning.schedule import snapshot
from planning.schedule.models import WeekPlan
from planning.schedule.week_clock import Clock
from planning.trials.models import PlanTrial
from shared.errors import Invalid
from shared.send import send

MOST_QUESTIONS = 6
SECONDS_EACH = 10.0
CUT_TIMES = 4
"""Times the usual seconds after which a search is cut all the same."""
KINDS = {
    "person": "another person like",
    "mixer": "another mixer like",
    "mixer_kg": "a mixer that holds",
    "shop_k": "a shop warmer by",
    "day": "one more day worked",
    "late_per_pot": "late minutes one pot is worth",
}


def ask_trial(
    *, plan: WeekPlan, questions: Iterable[Mapping[str, Any]], now: datetime, by: Any = None
) -> PlanTrial:
    """Write questions down for the worker; each is checked against the plan's own problem."""
    rows = [dict(row) for row in questions]
    if not 1 <= len(rows) <= MOST_QUESTIONS:
        raise Invalid.one(
            "questions",
            "count",
            f"{len(rows)} questions; ask 1 to {MOST_QUESTIONS} at a time.",
            value=len(rows),
            limit=MOST_QUESTIONS,
        )
    if plan.problem is None:
        raise Invalid.one("questions", "no_plan", "This plan is not worked out yet; wait for it.")
    problem = plain.from_plain(core.Problem, plan.problem)
    for n, row in enumerate(rows):
        words_of(problem, plan, row, f"questions/{n}")
    with transaction.atomic():
        trial = PlanTrial.objects.create(plan=plan, questions=rows, asked_at=now, asked_by=by)
        transaction.on_commit(lambda: _nudge(trial.pk))
    return trial


def _nudge(trial_id: int) -> None:
    send("planning.tasks.answer_trial", trial_id)


def answer(*, trial_id: int) -> PlanTrial:
    """Plan the week again for each question; claimed once, so a repeat does nothing."""
    claimed = PlanTrial.objects.filter(pk=trial_id, state="waiting").update(state="solving")
    trial = PlanTrial.objects.select_related("plan__site").get(pk=trial_id)
    if not claimed:
        return trial
    try:
        rows = _answers(trial)
    except Exception as error:
        PlanTrial.objects.filter(pk=trial_id).update(state="broken", error=f"{error}"[:400])
        raise
    PlanTrial.objects.filter(pk=trial_id).update(state="ready", answers=rows)
    trial.refresh_from_db()
    return trial


def _answers(trial: PlanTrial) -> list[dict[str, Any]]:
    from planning.core import whatif
    from planning.core.check import check
    from planning.core.week import usual_work

    plan = trial.plan
    problem = plain.from_plain(core.Problem, plan.problem)
    begun = None if plan.plan is None else plain.from_plain(core.Plan, plan.plan)
    seconds = min(problem.limits.seconds, SECONDS_EACH)
    work = usual_work(replace(problem, limits=replace(problem.limits, seconds=seconds)))
    # counted work ends the search; the clock would end each at another point, so it is far off
    problem = replace(problem, limits=replace(problem.limits, seconds=CUT_TIMES * seconds))
    questions = {
        f"{n}": changed_problem(problem, plan, question)
        for n, question in enumerate(trial.questions)
    }
    found = whatif.answers(problem, begun, questions, work)
    words = ["as it is", *(words_of(problem, plan, question) for question in trial.questions)]
    return [
        {
            "words": name,
            "figures": asdict(answer.plan.figures),
            "against": answer.words,
            "unplaced": [plain.to_plain(one) for one in answer.plan.unplaced],
            "rules_broken": len(check(answer.problem, answer.plan)),
        }
        for name, answer in zip(words, found.values(), strict=True)
    ]


def changed_problem(
    problem: core.Problem, plan: WeekPlan, question: Mapping[str, Any]
) -> core.Problem:
    """Return the week as it would be."""
    from planning.core import whatif

    match question.get("kind"):
        case "person":
            return whatif.another_person(problem, question["person"])
        case "mixer":
            return whatif.another_mixer(problem, question["mixer"])
        case "mixer_kg":
            return whatif.bigger_mixer(problem, question["mixer"], float(question["kg"]))
        case "day":
            day, like = (_index(problem, plan, question[name]) for name in ("day", "like"))
            return whatif.open_day(problem, day, like)
        case "late_per_pot":
            return whatif.with_settings(problem, late_minutes_per_pot=float(question["minutes"]))
        case "shop_k":
            warm = snapshot.problem_of_week(
                site=plan.site,
                week=plan.week,
                now=plan.started_at or plan.asked_at,
                settings=plain.from_plain(Settings, plan.progress["settings"]),
                limits=problem.limits,
                warmer_k=float(question["kelvin"]),
            )
            depths = {pour.id: pour.deepest_lift_mm for pour in warm.pours}
            pours = tuple(
                replace(pour, deepest_lift_mm=depths.get(pour.id, pour.deepest_lift_mm))
                for pour in problem.pours
            )
            clocks = {system.id: system for system in warm.systems}
            systems = tuple(clocks.get(system.id, system) for system in problem.systems)
            return replace(problem, pours=pours, systems=systems)
    return problem


def _index(problem: core.Problem, plan: WeekPlan, day: str) -> int:
    return (date.fromisoformat(day) - Clock.of(problem, plan.site).first_day).days


def words_of(
    problem: core.Problem, plan: WeekPlan, question: Mapping[str, Any], where: str = "question"
) -> str:
    """Say a question in words; refuse one that names nobody, nothing or no sensible figure."""
    kind = question.get("kind")
    if kind not in KINDS:
        raise Invalid.one(
            f"{where}/kind", "unknown", f"kind is {kind!r}; known: {', '.join(KINDS)}."
        )
    if kind == "person":
        return f"{KINDS[kind]} {_named(problem.people, question, 'person', where)}"
    if kind == "mixer":
        return f"{KINDS[kind]} {_named(problem.mixers, question, 'mixer', where)}"
    if kind == "mixer_kg":
        name = _named(problem.mixers, question, "mixer", where)
        return f"{name} holds {_figure(question, 'kg', 0.1, 500, where):g} kg"
    if kind == "shop_k":
        return f"{KINDS[kind]} {_figure(question, 'kelvin', -10, 10, where):g} °C"
    if kind == "late_per_pot":
        return f"one pot worth {_figure(question, 'minutes', 1, 100_000, where):g} late minutes"
    day, like = (_day(problem, plan, question, name, where) for name in ("day", "like"))
    return f"{day:%a %d %b} worked like {like:%a %d %b}"


def _named(rows: Any, question: Mapping[str, Any], name: str, where: str) -> str:
    for row in rows:
        if row.id == str(question.get(name)):
            return row.name or row.id
    known = ", ".join(f"{row.id} ({row.name})" for row in rows)
    raise Invalid.one(
        f"{where}/{name}", "unknown", f"{name} is {question.get(name)!r}; known: {known}."
    )


def _figure(question: Mapping[str, Any], name: str, low: float, high: float, where: str) -> float:
    try:
        value = float(question.get(name, ""))
    except (TypeError, ValueError):
        value = float("nan")
    if not low <= value <= high:
        raise Invalid.one(
            f"{where}/{name}",
            "out_of_range",
            f"{name} is {question.get(name)!r}; give {low:g} to {high:g}.",
            value=question.get(name),
            limit=f"{low:g} to {high:g}",
        )
    return value


def _day(
    problem: core.Problem, plan: WeekPlan, question: Mapping[str, Any], name: str, where: str
) -> date:
    first = Clock.of(problem, plan.site).first_day
    days = len(problem.day_starts)
    try:
        day = date.fromisoformat(str(question.get(name)))
    except ValueError:
        day = date.min
    if not 0 <= (day - first).days < days:
        last = first + timedelta(days=days - 1)
        raise Invalid.one(
            f"{where}/{name}",
            "out_of_range",
            f"{name} is {question.get(name)!r}; give a day from {first} to {last}.",
            value=question.get(name),
            limit=f"{first} to {last}",
        )
    return day
