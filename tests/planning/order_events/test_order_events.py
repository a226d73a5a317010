"""What happens to an order is written with the change, numbered, and never altered."""

from datetime import date, timedelta
from decimal import Decimal
from unittest import mock

import pytest
from django.db import DatabaseError, connection, transaction

from planning.batches.models import Batch
from planning.order_events.actions import add_event
from planning.pours.actions import OrderFixed, change_pour
from planning.pours.models import OrderStatus, Pour, ToolOrder
from planning.pours.order_changes import (
    cancel_order,
    change_order,
    hold_order,
    release_order,
    set_quantity,
)
from planning.pours.steps import sign_step
from planning.routes.actions import make_route
from planning.routes.models import Route
from planning.schedule import actions as plans
from planning.schedule.models import WeekPlan
from shared.access.models import Site
from shared.errors import Invalid
from shared.events.kinds import EventKind
from shared.events.models import Event
from shop import stores
from shop.models import Container, Requirement, Reservation

pytestmark = pytest.mark.django_db


def kinds(order):
    rows = Event.objects.filter(object_kind="order", object_id=order.pk).order_by("sequence")
    assert [row.sequence for row in rows] == list(range(1, len(rows) + 1))
    return [row.kind for row in rows]


def last(order):
    return (
        Event.objects.filter(object_kind="order", object_id=order.pk).order_by("-sequence").first()
    )


def confirm(site, now):
    wish = plans.request_plan(
        site=site, week="2026-W49", now=now, seconds=0.5, reason="asked again"
    )
    return plans.confirm(plan=plans.solve(plan_id=wish.pk, now=now), now=now)


def test_taken_planned_and_moved_are_told_with_their_dates(take, planned, shop_site, now):
    pour = take()
    planned(pour)
    assert kinds(pour.order) == ["order.taken", "pour.planned"]
    told = last(pour.order).payload
    lift = pour.lifts.get()
    assert told["new"]["pour_from"] == lift.planned_start.isoformat().replace("+00:00", "Z")
    assert (told["version"], told["half"], told["sequence"]) == (1, "A", 2)
    assert told["new"]["late_min"] == 0
    change_pour(
        pour=pour, changes={"earliest_on": date(2026, 12, 3)}, now=now, reason="no pattern"
    )
    assert last(pour.order).payload["new"] == {"earliest_on": "2026-12-03"}
    assert WeekPlan.objects.order_by("-pk").first().reason == "no pattern"
    confirm(shop_site, now)
    rows = Event.objects.filter(object_id=pour.order_id, kind=EventKind.MOVED)
    moved = rows.get().payload
    assert moved["old"] == told["new"]
    assert moved["new"]["pour_from"] >= "2026-12-02T23"
    assert moved["reason"]


def test_a_plan_that_moves_nothing_tells_nothing_new(take, planned, shop_site, now):
    pour = take()
    planned(pour)
    before = kinds(pour.order)
    confirm(shop_site, now)
    assert kinds(pour.order) == before


def test_lateness_is_foreseen_when_the_plan_is_confirmed(take, planned, now):
    pour = take(due_in_days=0)
    planned(pour)
    assert kinds(pour.order)[-2:] == ["pour.planned", "pour.late_foreseen"]
    told = last(pour.order).payload["new"]
    assert told["due_on"] == "2026-11-30"
    assert told["late_min"] > 0


def test_a_hold_frees_stock_and_need_and_a_release_asks_again(take, planned, shop_site, now):
    pour = take()
    planned(pour)
    order = hold_order(order=pour.order, reason="drawing changes", now=now)
    pour.refresh_from_db()
    assert (order.held_reason, pour.status) == ("drawing changes", "asked")
    assert not Batch.objects.exists()
    assert not Reservation.objects.exists()
    assert not any(Container.objects.values_list("reserved", flat=True))
    assert not Requirement.objects.exists()
    assert kinds(order)[-2:] == ["pour.taken_out", "order.held"]
    plan = WeekPlan.objects.order_by("-pk").first()
    assert plan.reason == "Order T-1 was put on hold: drawing changes"
    solved = plans.solve(plan_id=plan.pk, now=now)
    assert solved.problem["pours"] == []
    release_order(order=order, now=now)
    assert Requirement.objects.exists()
    assert kinds(order)[-1] == "order.released"
    confirm(shop_site, now)
    pour.refresh_from_db()
    assert pour.status == "planned"


def test_a_hold_needs_a_reason_and_leaves_what_is_being_weighed(take, planned, now):
    pour = take()
    planned(pour)
    with pytest.raises(Invalid, match="reason is empty"):
        hold_order(order=pour.order, reason=" ", now=now)
    Batch.objects.update(status="weighing")
    order = hold_order(order=pour.order, reason="wait", now=now)
    assert Batch.objects.get().status == "weighing"
    assert last(order).payload["new"] == {"goes_on": [str(pour.pk)]}


def test_new_dates_reach_the_pours_that_had_the_old_ones(take, planned, now):
    pour = take()
    planned(pour)
    order = change_order(
        order=pour.order, changes={"due_on": date(2026, 12, 9), "priority": 3}, now=now,
        reason="the customer can wait",
    )  # fmt: skip
    pour.refresh_from_db()
    assert (pour.due_on, pour.priority, pour.status) == (date(2026, 12, 9), 3, "planned")
    told = last(order).payload
    assert told["old"] == {"due_on": "2026-12-04", "priority": 1}
    assert told["new"] == {"due_on": "2026-12-09", "priority": 3}
    assert WeekPlan.objects.order_by("-pk").first().reason == "the customer can wait"


def test_another_system_is_another_mass_and_another_need(take, planned, now):
    pour = take()
    planned(pour)
    other = next(info for info in stores.systems() if info.id != pour.system_id)
    before = pour.mass_kg
    changed = change_pour(pour=pour, changes={"system_id": other.id}, now=now)
    assert changed.status == "asked"
    assert changed.mass_kg != before
    assert not Reservation.objects.exists()
    needed = set(Requirement.objects.values_list("material_id", flat=True))
    assert needed == {other.resin.id, other.hardener.id}
    assert last(pour.order).payload["new"] == {"system_id": other.id}


def test_another_route_copies_its_steps_unless_work_has_begun(take, planned, now):
    pour = take()
    planned(pour)
    steps = [{"phase": "before", "name": "Only this", "hands_min": 5}]
    short = make_route(code="short", name="Short", kind="single", steps=steps)
    change_order(order=pour.order, changes={"route": short}, now=now)
    pour.refresh_from_db()
    assert pour.status == "asked"
    assert [step.name for step in pour.steps.all()] == ["Only this"]
    assert last(pour.order).payload["new"] == {"route": "short"}
    with pytest.raises(Invalid, match="for a matched set"):
        change_order(
            order=pour.order, changes={"route": Route.objects.get(code="matched")}, now=now
        )
    sign_step(step=pour.steps.get(), at=now, now=now, by=None)
    with pytest.raises(OrderFixed, match="has begun"):
        change_order(
            order=pour.order, changes={"route": Route.objects.get(code="single")}, now=now
        )


def test_more_pieces_are_orders_and_fewer_are_cancelled_the_last_first(take, now):
    pour = take(depth_mm="40")
    order = set_quantity(order=pour.order, quantity=3, now=now)
    copies = list(order.copies.order_by("pk"))
    assert [one.number for one in copies] == ["T-1-2", "T-1-3"]
    assert {one.pours.get().mass_kg for one in copies} == {pour.mass_kg}
    assert last(order).payload["new"] == {"quantity": 3}
    Pour.objects.filter(order=copies[1]).update(status="curing")
    set_quantity(order=order, quantity=2, now=now, reason="fewer")
    states = [ToolOrder.objects.get(pk=one.pk).status for one in copies]
    assert states == [OrderStatus.CANCELLED, OrderStatus.OPEN]
    with pytest.raises(OrderFixed, match="Work on 2 pieces"):
        set_quantity(order=order, quantity=1, now=now)
    set_quantity(order=order, quantity=3, now=now)
    assert ToolOrder.objects.filter(number="T-1-4").exists()


def test_what_is_poured_stays_when_the_remainder_is_cancelled(take, planned, now):
    pour = take()
    planned(pour)
    Pour.objects.filter(pk=pour.pk).update(status="curing")
    with pytest.raises(OrderFixed, match="All of order T-1 has been poured"):
        cancel_order(order=pour.order, now=now)
    Pour.objects.filter(pk=pour.pk).update(status="asked")
    order = cancel_order(order=pour.order, now=now, reason="no longer wanted")
    assert order.status == OrderStatus.CANCELLED
    assert last(order).reason == "no longer wanted"
    with pytest.raises(OrderFixed, match="can no longer be changed"):
        hold_order(order=order, reason="x", now=now)


def test_an_event_is_never_changed_nor_deleted_nor_kept_without_its_change(take, now):
    pour = take()
    event = last(pour.order)
    for button in (
        lambda: Event.objects.filter(pk=event.pk).update(reason="x"),
        lambda: Event.objects.filter(pk=event.pk).delete(),
    ):
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            button()
    with transaction.atomic():
        change_pour(pour=pour, changes={"depth_mm": Decimal(25)}, now=now)
        assert kinds(pour.order) == ["order.taken", "order.changed"]
        transaction.set_rollback(True)
    assert kinds(pour.order) == ["order.taken"]


def test_an_event_outside_a_transaction_is_refused():
    # Every test runs in a transaction; the connection is made to say that there is none.
    none = mock.patch.object(connection, "in_atomic_block", False)
    with none, pytest.raises(RuntimeError, match="in the transaction"):
        add_event(
            order=ToolOrder(pk=1, site=Site(code="main")), kind=EventKind.HELD, at=date(2026, 1, 1)
        )


def test_a_held_order_makes_a_ready_plan_out_of_date(take, shop_site, now):
    pour = take()
    wish = plans.request_plan(site=shop_site, week="2026-W49", now=now, seconds=0.5)
    plan = plans.solve(plan_id=wish.pk, now=now)
    hold_order(order=pour.order, reason="wait", now=now)
    with pytest.raises(plans.PlanOutOfDate, match="T-1 A is no longer open"):
        plans.confirm(plan=plan, now=now + timedelta(minutes=1))
