"""Writes: ask for a plan, work it out, confirm it, stop or withdraw it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import asdict
from datetime import datetime, timedelta
from decimal import Decimal
from time import monotonic
from typing import Any

from django.db import transaction
from django.db.models import F, Max

from planning.batches.models import Batch, BatchStatus
from planning.core import plain
from planning.core import plan as core
from planning.core.problem import Limits, Settings
from planning.pours.actions import ask_for_material
from planning.pours.models import Pour, PourStatus
from planning.rules import actions as rules
from planning.schedule import confirming, snapshot
from planning.schedule.kept import STARTED
from planning.schedule.models import PlanState, WeekPlan
from shared.access.models import Site
from shared.errors import Invalid, ShopError
from shared.send import send

LONGEST_SECONDS = 600
STOP_ASKED_EVERY_S = 0.3


class PlanNotReady(ShopError):
    """A plan that cannot be confirmed, with the reason."""


class PlanOutOfDate(ShopError):
    """Work has begun or stock has moved since the plan was made."""


def ask_plan(**wish: Any) -> WeekPlan:
    """Write down a wish for a plan; the worker picks it up once the row is committed."""
    with transaction.atomic():
        plan = write_wish(**wish)
        transaction.on_commit(lambda: _nudge(plan.pk))
    return plan


def write_wish(
    *,
    site: Site,
    week: str,
    now: datetime,
    by: Any = None,
    seconds: float = 10.0,
    settings: Settings | None = None,
    reason: str = "",
) -> WeekPlan:
    """Write down a wish for a plan, by the site's own rules unless others are given."""
    kept = rules.rules_of(site.pk)
    _check_week(week)
    if not 0.5 <= seconds <= LONGEST_SECONDS:
        raise Invalid.one(
            "seconds",
            "out_of_range",
            f"seconds is {seconds:g} s; it must be 0.5 to {LONGEST_SECONDS} s.",
            value=f"{seconds:g}",
            limit=f"0.5 to {LONGEST_SECONDS}",
            unit="s",
        )
    with transaction.atomic():
        Site.objects.select_for_update().get(pk=site.pk)
        last = WeekPlan.objects.filter(site=site, week=week).aggregate(n=Max("revision"))["n"]
        return WeekPlan.objects.create(
            site=site,
            week=week,
            revision=(last or 0) + 1,
            seconds=Decimal(str(seconds)),
            asked_by=by,
            asked_at=now,
            reason=reason[:200],
            progress={"settings": plain.to_plain(settings or rules.settings_of(kept))},
        )


def _check_week(week: str) -> None:
    try:
        snapshot.week_days(week)
    except ValueError:
        raise Invalid.one(
            "week",
            "no_such_week",
            f"week is {week!r}; give an ISO week that exists, such as 2026-W49.",
            value=week,
        ) from None


def _nudge(plan_id: int) -> None:
    send("planning.tasks.solve_week", plan_id)


def solve(
    *, plan_id: int, now: datetime, on_progress: Callable[[dict[str, Any]], None] | None = None
) -> WeekPlan:
    """Work out a waiting plan. Claimed once: a second worker finds nothing to do."""
    claimed = WeekPlan.objects.filter(pk=plan_id, state=PlanState.WAITING).update(
        state=PlanState.SOLVING, started_at=now, version=F("version") + 1
    )
    plan = WeekPlan.objects.select_related("site").get(pk=plan_id)
    if not claimed:
        return plan
    try:
        problem = _problem(plan, now)
        answer = _work_out(plan, problem, on_progress)
        violations = _judge(problem, answer)
    except Exception as error:
        WeekPlan.objects.filter(pk=plan.pk).update(
            state=PlanState.BROKEN, error=f"{error}"[:400], version=F("version") + 1
        )
        raise
    WeekPlan.objects.filter(pk=plan.pk).update(
        state=PlanState.BROKEN if violations else PlanState.READY,
        error=violations[0]["words"][:400] if violations else "",
        problem=plain.to_plain(problem),
        plan=plain.to_plain(answer),
        violations=violations,
        ready_at=now,
        version=F("version") + 1,
    )
    plan.refresh_from_db()
    return plan


def _problem(plan: WeekPlan, now: datetime) -> core.Problem:
    chosen = plain.from_plain(Settings, plan.progress["settings"])
    ahead = rules.rules_of(plan.site_id).freeze_hours
    return snapshot.problem_of_week(
        site=plan.site,
        week=plan.week,
        now=now,
        settings=chosen,
        freeze=timedelta(hours=float(ahead)),
        limits=Limits(seconds=float(plan.seconds)),
    )


def _work_out(
    plan: WeekPlan,
    problem: core.Problem,
    on_progress: Callable[[dict[str, Any]], None] | None,
) -> core.Plan:
    from planning.core.week import plan_week

    def report(state: Any) -> None:
        row = state if isinstance(state, dict) else asdict(state)
        progress = {**plan.progress, **row}
        WeekPlan.objects.filter(pk=plan.pk).update(progress=progress)
        if on_progress is not None:
            on_progress(row)

    def stopped() -> bool:
        return WeekPlan.objects.filter(pk=plan.pk, stop_asked=True).exists()

    return plan_week(problem, progress=report, stop=_now_and_then(stopped, STOP_ASKED_EVERY_S))


def _now_and_then(ask: Callable[[], bool], every_s: float) -> Callable[[], bool]:
    """Return what says the same, but asks anew only every so often: a search asks at each step."""
    asked_at, said = float("-inf"), False

    def answer() -> bool:
        nonlocal asked_at, said
        if not said and monotonic() - asked_at >= every_s:
            said = ask()
            asked_at = monotonic()
        return said

    return answer


def _judge(problem: core.Problem, answer: core.Plan) -> list[dict[str, Any]]:
    """Let the independent checker see every plan before a person does."""
    from planning.core.check import check

    return [plain.to_plain(violation) for violation in check(problem, answer)]


def ask_stop(*, plan: WeekPlan) -> None:
    """Ask a running search to stop; the best plan found so far is kept."""
    WeekPlan.objects.filter(pk=plan.pk).update(stop_asked=True)


@transaction.atomic
def confirm(*, plan: WeekPlan, now: datetime, by: Any = None) -> WeekPlan:
    """Make a plan the one the shop works by: batches numbered, lots reserved, steps dated."""
    plan = WeekPlan.objects.select_for_update().select_related("site").get(pk=plan.pk)
    if plan.state != PlanState.READY:
        raise PlanNotReady(
            f"Plan {plan} is {plan.get_state_display().lower()}; only one that is ready can be "
            "confirmed.",
            code="plan_not_ready",
        )
    problem = plain.from_plain(core.Problem, plan.problem)
    answer = plain.from_plain(core.Plan, plan.plan)
    _check_fresh(plan, problem, now)
    confirming.confirm(plan=plan, problem=problem, answer=answer, now=now)
    WeekPlan.objects.filter(site=plan.site, week=plan.week, state=PlanState.CONFIRMED).update(
        state=PlanState.REPLACED, version=F("version") + 1
    )
    plan.state = PlanState.CONFIRMED
    plan.confirmed_at, plan.confirmed_by = now, by
    plan.version += 1
    plan.save()
    return plan


def _check_fresh(plan: WeekPlan, problem: core.Problem, now: datetime) -> None:
    """Refuse when pours or begun work differ from what the plan was made from."""
    asked = {int(pour.id) for pour in problem.pours}
    open_now = set(
        Pour.objects.filter(
            pk__in=asked,
            status__in=[
                PourStatus.ASKED,
                PourStatus.PLANNED,
                PourStatus.POURING,
                PourStatus.CURING,
            ],
        ).values_list("pk", flat=True)
    )
    gone = asked - open_now
    begun = Batch.objects.filter(
        site=plan.site, status__in=STARTED, portions__lift__pour__in=asked
    ).values_list("number", flat=True)
    known = {batch.id for batch in problem.frozen.batches}
    new = sorted(set(begun) - known)
    if gone or new:
        words = f"batch {new[0]} has begun" if new else f"pour {min(gone)} is no longer open"
        raise PlanOutOfDate(
            f"Since plan {plan} was made, {words}; ask for a new plan.", code="plan_out_of_date"
        )


@transaction.atomic
def withdraw_pours(*, pours: Iterable[Pour], now: datetime) -> None:
    """Take planned pours out of the plan again: their batches go, stock is freed."""
    ids = [pour.pk for pour in pours]
    batches = Batch.objects.filter(portions__lift__pour__in=ids).distinct()
    for batch in batches:
        if batch.status != BatchStatus.PLANNED:
            raise ShopError(
                f"Batch {batch.number} is {batch.get_status_display().lower()}; its pours can no "
                "longer be taken out of the plan.",
                code="batch_begun",
            )
    shared = set(
        Pour.objects.filter(lifts__portions__batch__in=batches).values_list("pk", flat=True)
    )
    confirming.remove_planned(batches, shared | set(ids))
    for pour in Pour.objects.filter(pk__in=shared | set(ids)).select_related("order"):
        pour.status = PourStatus.ASKED
        pour.version = F("version") + 1
        pour.save(update_fields=["status", "version"])
        pour.refresh_from_db()
        ask_for_material(pour)
