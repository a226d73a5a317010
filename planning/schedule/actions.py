"""Writes: ask for a plan, work it out, confirm it, stop or withdraw it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from time import monotonic
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import F, Max

from planning.core import plain
from planning.core import plan as core
from planning.core.problem import Limits, Settings
from planning.rules import actions as rules
from planning.schedule import comparison, confirming, fresh, queries, snapshot
from planning.schedule.first_to_do import with_what_to_do
from planning.schedule.models import PlanState, WeekPlan
from planning.schedule.stamp import stamp
from planning.schedule.week_clock import Clock
from shared import clock
from shared.access.models import Site
from shared.change import change, change_all
from shared.errors import Invalid, ShopError
from shared.send import send

LONGEST_SECONDS = 600
STOP_ASKED_EVERY_S = 0.3
TRIES = 4
"""So often a plan is judged again when the shop changes while it is judged."""


class PlanNotReady(ShopError):
    """A plan that cannot be confirmed, with the reason."""


class PlanOutOfDate(ShopError):
    """Work has begun or stock has moved since the plan was made."""


def ask_plan(**wish: Any) -> WeekPlan:
    """Write down a wish for a plan; the worker picks it up once the row is committed."""
    with transaction.atomic():
        plan = request_plan(**wish)
        transaction.on_commit(lambda: _nudge(plan.pk))
    return plan


def request_plan(
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
            own_settings=settings is not None,
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
    plan.based_on = queries.confirmed_plan(plan.site_id)
    plan.save(update_fields=["based_on"])
    try:
        problem = _problem(plan, now)
        answer = with_what_to_do(_work_out(plan, problem, on_progress), plan.site, now)
        violations = _judge(problem, answer)
    except Exception as error:
        WeekPlan.objects.filter(pk=plan.pk).update(
            state=PlanState.BROKEN, error=f"{error}"[:400], version=F("version") + 1
        )
        raise
    _keep(plan, problem, answer, violations, now)
    plan.refresh_from_db()
    return plan


@transaction.atomic
def _keep(
    plan: WeekPlan,
    problem: core.Problem,
    answer: core.Plan,
    violations: list[dict[str, Any]],
    now: datetime,
) -> None:
    """Keep a finished plan; of all that are ready at a site only the newest stays so."""
    Site.objects.select_for_update().get(pk=plan.site_id)
    rows = WeekPlan.objects.filter(site=plan.site_id)
    later = rows.filter(pk__gt=plan.pk, state__in=[PlanState.READY, PlanState.CONFIRMED])
    state = PlanState.BROKEN if violations else PlanState.READY
    if state == PlanState.READY and later.exists():
        state = PlanState.REPLACED
    first, last = days_of(problem, answer, plan.site)
    rows.filter(pk=plan.pk).update(
        state=state,
        error=violations[0]["words"][:400] if violations else "",
        problem=plain.to_plain(problem),
        plan=plain.to_plain(answer),
        violations=violations,
        first_day=first,
        last_day=last,
        ready_at=now,
        version=F("version") + 1,
    )
    if state == PlanState.READY:
        rows.filter(pk__lt=plan.pk, state=PlanState.READY).update(
            state=PlanState.REPLACED, version=F("version") + 1
        )


def days_of(problem: core.Problem, answer: core.Plan, site: Site) -> tuple[date, date]:
    """Return the first and the last day on which a plan has work."""
    moments = Clock.of(problem, site)
    spans = [(batch.start_min, batch.end_min) for batch in answer.batches]
    spans += [(task.start_min, task.end_min) for task in answer.tasks]
    days = [
        moments.instant(minute).astimezone(moments.zone).date()
        for minute in (
            min((a for a, _ in spans), default=0),
            max((b for _, b in spans), default=0),
        )
    ]
    return days[0], days[1]


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
    change(plan, stop_asked=True)


@dataclass(frozen=True)
class Judged:
    """A plan looked at again, and the stamp of the shop it was judged in."""

    look: fresh.Look
    seen: str


def judge(*, plan: WeekPlan, now: datetime) -> Judged | None:
    """
    Judge a plan before a transaction begins in which it is confirmed; None where that is refused.

    Checking takes too long to be done while rows are locked; `confirm` compares the stamp.
    """
    try:
        seen = stamp(plan.site_id)
        return Judged(look_now(plan, now), seen)
    except ShopError:
        return None  # said by `confirm`


def confirm(
    *,
    plan: WeekPlan,
    now: datetime,
    by: Any = None,
    judged: Judged | None = None,
    seen: str | None = None,
) -> WeekPlan:
    """
    Make a plan the one the shop works by: batches numbered, lots reserved, steps dated.

    The plan is first judged by the independent check against the shop as it is now, before the
    site is locked; once it is locked, only a stamp of what it rests on is compared. If something
    moved in between, it is judged again. `judged` hands in what was found before, `seen` the mark
    of the comparison that a person has looked at; None where nobody does, as in a command.

    Raises
    ------
    PlanNotReady
        When the plan is not ready, a newer one is, it places no pour, or what it changes has not
        been looked at.
    PlanOutOfDate
        When it breaks a rule now, or when another plan was confirmed since it was made.
    """
    _check_seen(plan, seen)
    for _ in range(TRIES):
        if judged is None:
            before = stamp(plan.site_id)
            judged = Judged(look_now(plan, now), before)
        if judged.look.broken:
            raise _out_of_date(plan, judged.look)
        confirmed = _confirm_if_same(plan, judged, now, by)
        if confirmed is not None:
            return confirmed
        judged = None
    raise PlanOutOfDate(
        f"The shop changes faster than plan {plan} can be judged; try again in a moment.",
        code="plan_out_of_date",
    )


def _check_seen(plan: WeekPlan, seen: str | None) -> None:
    """Refuse a plan that changes another one, unless its comparison has been looked at."""
    plan.refresh_from_db()
    if seen is None or plan.state != PlanState.READY or plan.based_on_id is None:
        return
    if seen != comparison.compared_now(plan)[1]:
        raise PlanNotReady(
            f"Plan {plan} changes the confirmed plan. Look at what changes first: on the page Old "
            f"and new plan, or GET /api/v1/plans/{plan.pk}/comparison, whose mark 'seen' is sent "
            "with the confirmation.",
            code="comparison_not_seen",
            status=409,
        )


def look_now(plan: WeekPlan, now: datetime) -> fresh.Look:
    """Judge a ready plan against the shop as it is now; raises when it may not be confirmed."""
    plan.refresh_from_db()
    _check_ready(plan)
    was = plain.from_plain(core.Problem, plan.problem)
    answer = plain.from_plain(core.Plan, plan.plan)
    _check_still_newest(plan)
    made_at = plan.started_at or plan.asked_at
    now_is = snapshot.problem_again(
        site=plan.site, basis=was, made_at=made_at, now=now, settings=_settings_now(plan)
    )
    hours_from = snapshot.hours_from(made_at, now)
    from_min = Clock.of(was, plan.site).minute(hours_from)
    return fresh.look_again(was, answer, now_is, from_min, ZoneInfo(plan.site.time_zone))


def _settings_now(plan: WeekPlan) -> Settings:
    """Return the settings a plan must keep: those given with it, else the site's rules now."""
    if plan.own_settings:
        return plain.from_plain(Settings, plan.progress["settings"])
    return rules.settings_of(rules.rules_of(plan.site_id))


def _check_ready(plan: WeekPlan) -> None:
    if plan.state == PlanState.CONFIRMED:
        raise PlanNotReady(
            f"Plan {plan} was confirmed already{_by_and_when(plan)}; only one that is ready can "
            "be confirmed.",
            code="plan_not_ready",
        )
    if plan.state != PlanState.READY:
        raise PlanNotReady(
            f"Plan {plan} is {plan.get_state_display().lower()}; only one that is ready can be "
            "confirmed.",
            code="plan_not_ready",
        )
    if not (plan.plan or {}).get("lifts"):
        raise PlanNotReady(
            f"Plan {plan} places no pour, so there is nothing to confirm. Its page says of each "
            "pour why it is left out.",
            code="nothing_placed",
        )


def _by_and_when(plan: WeekPlan) -> str:
    if plan.confirmed_at is None:
        return ""
    at = clock.local(plan.confirmed_at, plan.site)
    return f" by {plan.confirmed_by or 'a command'} on {at:%a %d %b at %H:%M}"


def _check_still_newest(plan: WeekPlan) -> None:
    """Refuse a plan that a later one, or another confirmed one, has overtaken."""
    works_by = queries.confirmed_plan(plan.site_id)
    if works_by is not None and works_by.pk != plan.based_on_id:
        raise PlanOutOfDate(
            f"Plan {works_by} was confirmed{_by_and_when(works_by)}, after plan {plan} was made "
            "from the one before. Ask for a new plan: it starts from what is confirmed now.",
            code="plan_out_of_date",
            confirmed_plan=works_by.pk,
        )
    newer = WeekPlan.objects.filter(site=plan.site_id, pk__gt=plan.pk, state=PlanState.READY)
    found = newer.defer("problem", "plan").order_by("-pk").first()
    if found is not None:
        raise PlanNotReady(
            f"Plan {found}, asked for later, is ready; only the newest plan can be confirmed.",
            code="newer_plan",
            newer_plan=found.pk,
        )


def _out_of_date(plan: WeekPlan, look: fresh.Look) -> PlanOutOfDate:
    words = f"Plan {plan} no longer holds and was not confirmed. {fresh.told(look.broken)}"
    if look.changed:
        words += f" Changed since it was made: {fresh.told(look.changed)}"
    return PlanOutOfDate(
        f"{words} Ask for a new plan: it moves as little as it can.",
        code="plan_out_of_date",
        broken=list(look.broken),
        changed=list(look.changed),
    )


@transaction.atomic
def _confirm_if_same(plan: WeekPlan, judged: Judged, now: datetime, by: Any) -> WeekPlan | None:
    """Write a plan's content if nothing has moved since it was judged; otherwise do nothing."""
    Site.objects.select_for_update().get(pk=plan.site_id)
    plan = WeekPlan.objects.select_for_update(of=("self",)).select_related("site").get(pk=plan.pk)
    if plan.state != PlanState.READY or stamp(plan.site_id) != judged.seen:
        return None
    look = judged.look
    confirming.confirm(plan=plan, problem=look.problem, answer=look.plan, now=now, by=by)
    others = WeekPlan.objects.filter(
        site=plan.site, state__in=[PlanState.CONFIRMED, PlanState.READY]
    )
    change_all(others.exclude(pk=plan.pk), state=PlanState.REPLACED)
    explained = plain.from_plain(core.Plan, plan.plan)  # reasons may have been found meanwhile
    held = replace(look.plan, late=explained.late, unplaced=explained.unplaced)
    plan.problem, plan.plan = plain.to_plain(look.problem), plain.to_plain(held)
    plan.state = PlanState.CONFIRMED
    plan.confirmed_at, plan.confirmed_by = now, by
    plan.version += 1
    plan.save()
    return plan
