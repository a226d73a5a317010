"""Bring in the demo week: orders relative to a day, a confirmed plan, and two days of work."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any

from planning.batches.models import Batch, BatchStatus
from planning.clocks.standing import standing
from planning.cures import actions as cures
from planning.pours import actions as pours
from planning.pours.models import Pour, PourStatus, PourStep, ToolOrder
from planning.pours.steps import sign_step
from planning.routes.models import Phase, Route
from planning.schedule import actions as schedule
from planning.weigh_in import actions as weigh_in
from shared import clock
from shared.access.models import Site
from shop import stores

HISTORY = timedelta(days=2)
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
    asked = schedule.write_wish(site=site, week=f"{year}-W{week:02d}", now=begin, seconds=5)
    plan = schedule.solve(plan_id=asked.pk, now=begin)
    schedule.confirm(plan=plan, now=begin)
    _work(site, midnight)
    return Batch.objects.filter(site=site, planned_start__gte=midnight).first()


def _work(site: Site, until: datetime) -> None:
    """Do what was planned to happen before a moment, in the order of the clock."""
    jobs: list[tuple[datetime, int, Any]] = []
    for batch in Batch.objects.filter(site=site, planned_end__lte=until):
        jobs.append((batch.planned_start, batch.pk, batch))
    for step in PourStep.objects.filter(pour__order__site=site, planned_end__lte=until):
        if step.planned_start is not None:
            jobs.append((step.planned_start, step.pk, step))
    for _, _, job in sorted(jobs, key=lambda item: item[:2]):
        if isinstance(job, Batch):
            _pour_batch(job)
        else:
            _do_step(job)


def _pour_batch(batch: Batch) -> None:
    if batch.status != BatchStatus.PLANNED:
        return
    crew = batch.people.select_related("user").filter(user__isnull=False).order_by("code")
    by = next((person.user for person in crew), None)
    for line in batch.lines.all():
        weigh_in.record_weighing(
            line=line,
            weighed_kg=line.target_kg,
            key=f"demo:{line.pk}",
            at=batch.planned_start + timedelta(minutes=4),
            now=batch.planned_contact,
            by=by,
        )
    for kind, at, facts in (
        ("conditions", batch.planned_contact, IN_THE_SHOP),
        ("contact", batch.planned_contact, {}),
        ("poured", batch.planned_pour_end, {}),
    ):
        key = f"demo:{batch.pk}:{kind}"
        weigh_in.record_entry(batch=batch, kind=kind, key=key, at=at, now=at, by=by, facts=facts)


def _do_step(step: PourStep) -> None:
    assert step.planned_end is not None
    pour = Pour.objects.get(pk=step.pour_id)
    first_after = pour.steps.filter(phase=Phase.AFTER).order_by("order").first()
    if step == first_after and pour.status == PourStatus.CURING:
        stands = standing(pour)
        assert stands is not None
        due = stands.latest.demould_due_at
        cures.demould(
            pour=pour,
            key=f"demo:pour:{pour.pk}",
            at=max(step.planned_end, due),
            now=max(step.planned_end, due),
            verdict="accept",
        )
        return
    sign_step(step=step, at=step.planned_end, now=step.planned_end, took_min=step.hands_min)
