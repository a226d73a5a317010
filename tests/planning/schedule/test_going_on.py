"""Planned again: numbers, steps, ovens and paper go on; what must change says so."""

from datetime import timedelta

import pytest

from planning.batch_sheets.actions import mark_printed
from planning.batch_sheets.queries import step_row
from planning.batches.models import Batch, BatchCounter
from planning.pours.models import PourStep
from planning.routes.models import Phase
from planning.schedule import actions
from shop.models import DayChange, Person

WEEK = "2026-W49"


def plan_again(site, now, seconds=0.5):
    wish = actions.request_plan(site=site, week=WEEK, now=now, seconds=seconds)
    plan = actions.solve(plan_id=wish.pk, now=now)
    assert plan.violations == []
    return actions.confirm(plan=plan, now=now)


def batches():
    return list(
        Batch.objects.order_by("pk").values_list("pk", "number", "planned_start", "version")
    )


def steps():
    rows = PourStep.objects.order_by("pk").prefetch_related("planned_people")
    return {s.pk: (s.planned_start, {p.pk for p in s.planned_people.all()}) for s in rows}


def print_days(site, now, days=7):
    for n in range(days):
        mark_printed(site=site, day=(now + timedelta(days=n)).date(), now=now)


@pytest.fixture
def three_pours(planned, take):
    planned(take("T-1"), take("T-2", depth_mm="50"), take("T-3", due_in_days=5))


def test_a_week_planned_again_for_nothing_keeps_every_number_and_step(three_pours, shop_site, now):
    before, work, last = batches(), steps(), BatchCounter.objects.get().last
    plan = plan_again(shop_site, now)
    assert plan.plan["moves"] == []
    assert batches() == before
    assert steps() == work
    assert BatchCounter.objects.get().last == last
    assert set(Batch.objects.values_list("plan", flat=True)) == {plan.pk}


def test_a_rush_order_moves_no_step_without_a_word(three_pours, take, shop_site, now):
    before, work = batches(), steps()
    take("T-4", due_in_days=1)
    plan = plan_again(shop_site, now)
    told = {int(move["step"]) for move in plan.plan["moves"] if move["step"].isdigit()}
    moved = {pk for pk, (start, _) in steps().items() if pk in work and work[pk][0] != start}
    assert moved <= told
    kept = {number for _, number, *_ in before} & {number for _, number, *_ in batches()}
    assert kept


def test_a_batch_that_moves_keeps_its_number_and_is_no_longer_on_paper(
    planned, take, shop_site, now
):
    planned(take("T-1"), take("T-3", due_in_days=5))
    print_days(shop_site, now)
    first = Batch.objects.order_by("planned_start").first()
    DayChange.objects.bulk_create(
        DayChange(person=person, day=first.planned_start.date()) for person in Person.objects.all()
    )
    plan_again(shop_site, now)
    again = Batch.objects.get(pk=first.pk)
    assert again.number == first.number
    assert again.planned_start.date() > first.planned_start.date()
    assert again.version > first.version
    assert again.printed_at is None


def test_printed_work_of_somebody_away_is_given_to_another(planned, take, shop_site, now):
    planned(take("T-1"), take("T-2", due_in_days=5))
    print_days(shop_site, now)
    printed = Batch.objects.order_by("planned_start").first()
    ill = printed.people.get()
    DayChange.objects.create(person=ill, day=printed.planned_start.date())
    plan_again(shop_site, now)
    again = Batch.objects.get(pk=printed.pk)
    assert ill not in again.people.all()
    assert again.people.exists()


def test_a_printed_step_after_a_kept_pour_stays_while_it_can(three_pours, take, shop_site, now):
    print_days(shop_site, now, days=14)
    demould = PourStep.objects.filter(phase=Phase.AFTER).order_by("planned_start").first()
    assert demould.printed_at == now
    take("T-4", due_in_days=1, priority=9)
    plan = plan_again(shop_site, now)
    again = PourStep.objects.get(pk=demould.pk)
    assert (again.planned_start, again.printed_at) == (demould.planned_start, now)
    assert str(demould.pk) in {task["step"] for task in plan.problem["frozen"]["tasks"]}
    PourStep.objects.filter(pk=demould.pk).update(printed_at=None)
    plan = plan_again(shop_site, now)
    assert str(demould.pk) not in {task["step"] for task in plan.problem["frozen"]["tasks"]}


def test_the_load_of_an_oven_is_known_and_kept(take, planned, shop_site, now):
    pour = take("T-1")
    step = pour.steps.filter(phase=Phase.AFTER).order_by("order").first()
    step.oven_cycle, step.wait_min, step.longest_wait_min = "60 °C", 240, None
    step.save()
    planned(pour)
    step.refresh_from_db()
    assert step.oven.kind == "oven"
    assert step.oven_start >= step.planned_end
    row = step_row(step)
    assert row["oven"] == {"name": step.oven.name, "cycle": "60 °C", "start_at": step.oven_start}
    assert row["ready_at"] == step.oven_start + timedelta(minutes=240)
    before = step.oven_start
    plan = plan_again(shop_site, now)
    step.refresh_from_db()
    assert step.oven_start == before
    task = next(t for t in plan.problem["previous"]["tasks"] if t["step"] == str(step.pk))
    assert task["oven"] == str(step.oven_id)
