"""A plan made while a lift cures says of the next one what the gate will say."""

from datetime import UTC, datetime, timedelta

import pytest

from planning.batches.models import Batch
from planning.clocks.standing import standing
from planning.schedule import actions
from planning.schedule.broken import plan_now
from planning.weigh_in.actions import record_entry, record_weighing
from planning.weigh_in.gate import hindrances_of
from tests.factories.clocks import watch_air
from tests.factories.floor import sign_off

pytestmark = pytest.mark.django_db
WEEK = "2026-W49"
SHUT = "lower_not_open"


def weigh_and_mix(batch, later):
    at = batch.planned_start + later
    for line in batch.lines.all():
        record_weighing(line=line, weighed_kg=line.target_kg, key=f"w{line.pk}", at=at, now=at)
    sign_off(batch)
    at = batch.planned_contact + later
    record_entry(batch=batch, kind="contact", key=f"c{batch.pk}", at=at, now=at)


def pour(batch, later_min=0):
    later = timedelta(minutes=later_min)
    weigh_and_mix(batch, later)
    at = batch.planned_pour_end + later
    record_entry(batch=batch, kind="poured", key=f"p{batch.pk}", at=at, now=at)


@pytest.fixture
def two_lifts(take, planned, shop_site):
    """Two lifts of a system known by its data sheet alone, in a shop as warm as expected."""
    from planning.rules.models import PlanningRules
    from shop.models import ResinSystem

    PlanningRules.objects.create(site=shop_site, night_c=22)
    watch_air(shop_site, datetime(2026, 11, 30, 0, 0, tzinfo=UTC), 4)
    ResinSystem.objects.filter(code="Q").update(kinetics=None)
    found = take(depth_mm="60")
    planned(found)
    return found


def test_the_first_plan_says_when_the_gate_lets_the_next_lift_through(two_lifts, shop_site):
    first, second = Batch.objects.order_by("planned_start")
    pour(first)
    stands = standing(two_lifts)
    assert second.planned_pour_start >= stands.opens_at
    watch_air(shop_site, datetime(2026, 11, 30, 5, 0, tzinfo=UTC), 14)
    pour(second)
    two_lifts.refresh_from_db()
    assert two_lifts.status == "curing"


def test_a_lift_planned_again_is_let_through_by_the_gate(two_lifts, shop_site):
    first = Batch.objects.order_by("planned_start").first()
    pour(first, later_min=90)
    watch_air(shop_site, datetime(2026, 11, 30, 5, 0, tzinfo=UTC), 1)
    now = first.planned_pour_end + timedelta(minutes=91)
    stands = standing(two_lifts)
    second = Batch.objects.order_by("planned_start").last()
    assert second.planned_pour_start < stands.opens_at, "poured late, the lift opens late"
    told = {one.rule for one in plan_now(shop_site, now).broken}
    assert "lift_gap" in told, "work planned before the clock opens is named"

    wish = actions.request_plan(site=shop_site, week=WEEK, now=now, seconds=0.5)
    plan = actions.solve(plan_id=wish.pk, now=now)
    assert plan.violations == []
    actions.confirm(plan=plan, now=now)
    second = Batch.objects.order_by("planned_start").last()
    assert second.planned_pour_start >= stands.opens_at
    hours = (second.planned_contact - now) // timedelta(hours=1)
    watch_air(shop_site, now, hours)
    pour(second)
    two_lifts.refresh_from_db()
    assert two_lifts.status == "curing"


def test_a_shop_that_read_nothing_is_told_what_to_read_and_let_through_when_it_did(
    two_lifts, shop_site
):
    from planning.rules.models import PlanningRules

    PlanningRules.objects.filter(site=shop_site).update(night_c=12)
    first, second = Batch.objects.order_by("planned_start")
    pour(first)
    at = second.planned_contact + timedelta(hours=1)
    portions = list(second.portions.all())
    (shut,) = [x for x in hindrances_of(second, "contact", portions, at) if x.code == SHUT]
    assert shut.clears_at > at
    assert "read and enter on the casting's page the air of the shop" in shut.what_to_do
    watch_air(shop_site, first.planned_pour_end, 3)
    watch_air(shop_site, at, 0)
    found = hindrances_of(second, "contact", portions, at)
    assert SHUT not in {x.code for x in found}
