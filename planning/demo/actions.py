"""Bring in the demo week: orders relative to a day, a confirmed plan, and two days of work."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from planning.batches.models import Batch, BatchStatus
from planning.clocks import actions as clocks
from planning.clocks.asking import look_at_waiting
from planning.clocks.standing import asked_now, standing
from planning.cures import actions as cures
from planning.pours import actions as pours
from planning.pours.models import Pour, PourStatus, PourStep, ToolOrder
from planning.pours.steps import sign_step
from planning.routes.models import Phase, Route
from planning.schedule import actions as schedule
from planning.weigh_in import actions as weigh_in
from planning.weigh_in.gate import Passing
from shared import clock
from shared.access.models import Site
from shop import stores

HISTORY = timedelta(days=2)
ABRADED = Passing("abraded and cleaned the lift below", "the foreman of the demo")
MOST_LOOKS = 200
"""So often somebody comes to look whether a casting may be taken off."""
IN_THE_SHOP = {"air_c": "21.4", "surface_c": "20.8", "humidity_percent": "52"}
"""What is read at each pot of the demo; made up."""


def load_orders(site: Site, rows: Iterable[Mapping[str, Any]], now: datetime) -> int:
    """Take in the demo's orders; those that are there already are left alone."""
    today = clock.local(now, site).date()
    taken = 0
    for row in rows:
        if ToolOrder.objects.filter(site=site, number=row["number"]).exists():
            continue
        head = {k: row[k] for k in ("number", "tool_code", "tool_name", "customer")}
        pours.take_order(
            site_id=site.pk,
            route=Route.objects.get(code=row["route"]),
            earliest_on=today + timedelta(days=row["earliest_in_days"]),
            due_on=today + timedelta(days=row["due_in_days"]),
            priority=row.get("priority", 1),
            pours=[_pour(fields) for fields in row["pours"]],
            now=now - HISTORY,
            **head,
        )
        taken += 1
    return taken


def _pour(fields: Mapping[str, Any]) -> dict[str, Any]:
    values = dict(fields)
    values["system_id"] = stores.system_by_code(values.pop("system")).id
    values["release_recipe_id"] = stores.recipe_by_code(values.pop("release_recipe")).id
    return values


def plan_and_work(site: Site, now: datetime) -> Batch | None:
    """Plan as of two mornings ago, confirm, and record the work planned until this midnight."""
    midnight = clock.day_start(clock.local(now, site).date(), site)
    begin = midnight - HISTORY
    year, week, _ = clock.local(begin, site).isocalendar()
    asked = schedule.request_plan(site=site, week=f"{year}-W{week:02d}", now=begin, seconds=5)
    plan = schedule.solve(plan_id=asked.pk, now=begin)
    schedule.confirm(plan=plan, now=begin)
    _work(site, midnight)
    look_at_waiting(now)
    return Batch.objects.filter(site=site, planned_start__gte=midnight).first()


def _work(site: Site, until: datetime) -> None:
    """Do what was planned to happen before a moment, in the order of the clock."""
    _read_the_air(site, until)
    jobs: list[tuple[datetime, int, Any]] = []
    for batch in Batch.objects.filter(site=site, planned_end__lte=until):
        jobs.append((batch.planned_start, batch.pk, batch))
    for step in PourStep.objects.filter(pour__order__site=site, planned_end__lte=until):
        if step.planned_start is not None:
            jobs.append((step.planned_start, step.pk, step))
    for _, _, job in sorted(jobs, key=lambda item: item[:2]):
        if isinstance(job, Batch):
            _pour_batch(job, until)
        else:
            _do_step(job, until)
    # What a clock lets go in the evening is not left to the next morning it was planned for.
    for pour in Pour.objects.filter(order__site=site, status=PourStatus.CURING).order_by("pk"):
        _demould(pour, until - HISTORY, until)


def _read_the_air(site: Site, until: datetime) -> None:
    """Read the air every two hours, as a shop does that wants its clocks no later than needed."""
    rows = [
        {"key": f"demo:air:{n}", "at": until - HISTORY + timedelta(hours=2 * n),
         "celsius": Decimal(IN_THE_SHOP["air_c"]), "where": "air", "confirmed": True}
        for n in range(int(HISTORY.total_seconds() // 7200))
    ]  # fmt: skip
    clocks.log_temperatures(site_id=site.pk, rows=rows, now=until)


def _pour_batch(batch: Batch, until: datetime) -> None:
    if batch.status != BatchStatus.PLANNED:
        return
    crew = batch.people.select_related("user").filter(user__isnull=False).order_by("code")
    by = next((person.user for person in crew), None)
    late = _lateness(batch)
    if batch.planned_end + late > until:
        return
    for line in batch.lines.select_related("container__lot__material"):
        if line.container.lot.material.stir_before_use:
            at = batch.planned_start + late + timedelta(minutes=3)
            key = f"demo:{line.pk}:stirred"
            weigh_in.record_entry(
                batch=batch, kind="stirred", key=key, at=at, now=at, by=by, line=line
            )
        weigh_in.record_weighing(
            line=line,
            weighed_kg=line.target_kg,
            key=f"demo:{line.pk}",
            at=batch.planned_start + late + timedelta(minutes=4),
            now=batch.planned_contact + late,
            by=by,
        )
    for kind, planned, facts in (
        ("conditions", batch.planned_contact, IN_THE_SHOP),
        ("contact", batch.planned_contact, {}),
        ("poured", batch.planned_pour_end, {}),
    ):
        key, at = f"demo:{batch.pk}:{kind}", planned + late
        weigh_in.record_entry(
            batch=batch, kind=kind, key=key, at=at, now=at, by=by, facts=facts, passing=ABRADED
        )


def _lateness(batch: Batch) -> timedelta:
    """Return how long a batch waits for the lifts below to bear it."""
    late = timedelta(0)
    for portion in batch.portions.filter(lift__number__gt=1).select_related("lift__pour"):
        stands = standing(portion.lift.pour)
        for _ in range(MOST_LOOKS):
            at = batch.planned_contact + late
            if stands is None or stands.opens_at is None or stands.may_pour_over(at):
                break
            late = max(late, stands.opens_at - batch.planned_contact)
            stands = asked_now(portion.lift.pour, batch.planned_contact + late)
    return late


def _do_step(step: PourStep, until: datetime) -> None:
    assert step.planned_end is not None
    pour = Pour.objects.get(pk=step.pour_id)
    after = list(pour.steps.filter(phase=Phase.AFTER).order_by("order"))
    if after and step == after[0]:
        if pour.status == PourStatus.CURING:
            _demould(pour, step.planned_end, until)
        return
    at = step.planned_end
    for earlier in after if step in after else []:
        if earlier.order < step.order:
            if earlier.done_at is None:
                return
            at = max(at, earlier.done_at + timedelta(minutes=earlier.wait_min + step.hands_min))
    if at <= until:
        sign_step(step=step, at=at, now=at, took_min=step.hands_min)


def _demould(pour: Pour, planned: datetime, until: datetime) -> None:
    """Take a casting off once it was measured and its clocks say that it may be."""
    stands, at = standing(pour), planned
    for _ in range(MOST_LOOKS):
        assert stands is not None
        at = max(at, stands.expected_at or at)
        if at > until:
            return
        if stands.waits_for:
            _measure(pour, at)
        stands = asked_now(pour, at)
        if stands is not None and stands.may_demould(at):
            cures.demould(pour=pour, key=f"demo:pour:{pour.pk}", at=at, now=at, verdict="accept")
            return
        at += timedelta(minutes=30)


def _measure(pour: Pour, at: datetime) -> None:
    row = {"key": f"demo:pour:{pour.pk}:{at:%d%H%M}", "at": at, "celsius": Decimal("23.5"),
           "where": "surface", "pour": pour, "confirmed": True}  # fmt: skip
    clocks.log_temperatures(site_id=pour.order.site_id, rows=[row], now=at)
