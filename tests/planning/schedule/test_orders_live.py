"""A planned order is changed and cancelled; what is cast stays true."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from planning.batches.models import Batch, BatchStatus
from planning.pours.actions import OrderFixed, change_pour
from planning.pours.models import Pour
from planning.pours.order_changes import cancel_order
from planning.pours.steps import sign_step
from planning.schedule.models import PlanState, WeekPlan
from shared import clock
from shared.access.models import User
from shared.errors import ShopError
from shop.models import Container, Reservation

pytestmark = pytest.mark.django_db


def newest():
    return WeekPlan.objects.order_by("-pk").first()


def test_a_cancelled_order_leaves_the_plan_frees_its_stock_and_asks_for_a_plan(take, planned, now):
    keeps = take("T-1")
    pour = take("T-2", may_share=False)
    planned(pour)
    kept = set(Batch.objects.filter(portions__lift__pour=keeps).values_list("number", flat=True))
    cancel_order(order=pour.order, now=now + timedelta(hours=1))
    pour.refresh_from_db()
    assert pour.status == "cancelled"
    assert set(Batch.objects.values_list("number", flat=True)) == kept
    reserved = sum(Container.objects.values_list("reserved", flat=True))
    assert reserved == sum(Reservation.objects.values_list("quantity", flat=True))
    assert not pour.steps.exclude(planned_start=None).exists()
    assert newest().state == PlanState.WAITING
    assert newest().reason == "Order T-2 was cancelled"


def test_a_pour_that_shared_the_pot_is_asked_for_again(take, planned, now):
    other, pour = take("T-1"), take("T-2")
    planned(pour)
    assert Batch.objects.count() == 1
    cancel_order(order=pour.order, now=now)
    other.refresh_from_db()
    assert other.status == "asked"


@pytest.mark.parametrize(
    ("changes", "status"),
    [
        ({"due_on": date(2026, 12, 10)}, "planned"),
        ({"depth_mm": Decimal(25)}, "asked"),
        ({"priority": 7}, "planned"),
    ],
)
def test_a_planned_pour_is_changed_and_planned_again(take, planned, now, changes, status):
    """Another casting leaves the plan at once; another date stays in it until the next plan."""
    pour = take()
    planned(pour)
    changed = change_pour(pour=pour, changes=changes, now=now)
    assert changed.status == status
    assert all(getattr(changed, name) == value for name, value in changes.items())
    assert Batch.objects.exists() == (status == "planned")
    assert "T-1 A was changed" in newest().reason


@pytest.mark.parametrize("status", [BatchStatus.WEIGHING, BatchStatus.MIXING])
def test_what_has_begun_is_neither_changed_nor_cancelled(take, planned, now, status):
    pour = take()
    planned(pour)
    Batch.objects.update(status=status)
    with pytest.raises(ShopError, match="no longer be taken out"):
        cancel_order(order=pour.order, now=now)
    with pytest.raises(ShopError, match="no longer be taken out"):
        change_pour(pour=pour, changes={"depth_mm": Decimal(25)}, now=now)
    assert Pour.objects.get().status == "planned"
    assert Batch.objects.get().status == status


def test_signed_steps_are_never_thrown_away_by_a_change(take, planned, now):
    pour = take()
    planned(pour)
    step = pour.steps.filter(phase="before").order_by("order").first()
    sign_step(step=step, at=now, now=now, by=None)
    with pytest.raises(OrderFixed, match="1 steps of T-1 A are signed"):
        change_pour(pour=pour, changes={"length_mm": Decimal(400)}, now=now)
    step.refresh_from_db()
    assert step.done_at == now


def test_by_page_too(take, planned, now, client, monkeypatch):
    pour = take()
    planned(pour)
    monkeypatch.setattr(clock, "now", lambda: now)
    client.force_login(User.objects.get(username="petra"))
    page = client.post(f"/orders/{pour.order_id}/cancel/", follow=True)
    assert "is cancelled" in page.content.decode()
    pour.refresh_from_db()
    assert pour.status == "cancelled"
