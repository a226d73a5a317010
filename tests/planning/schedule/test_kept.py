"""What stays when a week is planned again: printed work, with all that it is poured onto."""

from dataclasses import replace
from datetime import timedelta

import pytest

from planning.batches.lifts import lifts_of
from planning.batches.models import Batch
from planning.schedule import actions
from planning.schedule.kept import There, kept_batches, promised_batches
from shop import stores
from shop.models import DayChange, Person


@pytest.fixture
def two_lifts(planned, take):
    """A pour of two lifts, each from its own batch, and its batches from the bottom up."""
    pour = take("T-1", system="Q", depth_mm="60", due_in_days=5)
    planned(pour)
    pour.refresh_from_db()
    batches = list(Batch.objects.order_by("planned_start"))
    assert [b.portions.get().lift.number for b in batches] == [1, 2]
    return pour, *batches


def printed(batch, at):
    batch.printed_at = at
    batch.save()


def kept(site, pour, now, shifts=None):
    there = There.of(stores.site_week(site.pk, now.date(), 14))
    if shifts is not None:
        there = replace(there, shifts=shifts)
    batches = promised_batches(site.pk, [pour])
    return [batch.pk for batch in kept_batches(batches, [pour], now, there)]


def test_a_printed_upper_lift_keeps_the_lower_one_where_it_is(two_lifts, shop_site, now):
    pour, lower, upper = two_lifts
    printed(upper, now)
    assert kept(shop_site, pour, now) == [lower.pk, upper.pk]


def test_a_printed_upper_lift_is_let_go_when_the_lower_one_was_not_poured(
    two_lifts, shop_site, now
):
    pour, lower, upper = two_lifts
    printed(upper, now)
    missed = lower.planned_start + timedelta(minutes=1)
    assert kept(shop_site, pour, missed) == []
    lower.status = "weighing"
    lower.save()
    assert kept(shop_site, pour, missed) == [lower.pk, upper.pk]


def test_a_printed_upper_lift_is_let_go_when_the_lower_pot_is_gone(two_lifts, shop_site, now):
    pour, lower, upper = two_lifts
    printed(upper, now)
    lower.portions.all().delete()
    assert kept(shop_site, pour, now) == []


def test_no_lift_is_lost_when_the_lower_one_of_a_printed_one_was_missed(two_lifts, shop_site, now):
    pour, lower, upper = two_lifts
    printed(upper, now)
    DayChange.objects.create(person=Person.objects.first(), day=upper.planned_start.date())
    later = lower.planned_end + timedelta(minutes=5)
    wish = actions.request_plan(site=shop_site, week="2026-W49", now=later, seconds=0.5)
    plan = actions.solve(plan_id=wish.pk, now=later)
    assert plan.violations == []
    assert [row["lift"] for row in plan.plan["lifts"]] == [0, 1]
    assert plan.plan["moves"][0]["reason"] == "Its time had passed when this plan was made."
    actions.confirm(plan=plan, now=later)
    starts = Batch.objects.order_by("planned_start").values_list("planned_start", flat=True)
    assert all(start >= later for start in starts)
    assert sum(lift.mass_kg for lift in pour.lifts.all()) == pytest.approx(pour.mass_kg)


@pytest.mark.parametrize("depth_mm", ["60", "61.3", "77.7", "93.1"])
def test_confirmed_lifts_are_those_the_planner_made_to_the_last_bit(planned, take, depth_mm):
    """Else every pour of several lifts would be taken for one that is cast in other lifts."""
    pour = take("T-1", system="Q", depth_mm=depth_mm, length_mm="213", due_in_days=6)
    plan = planned(pour)
    pour.refresh_from_db()
    made = [(x["lift"], x["depth_mm"], x["mass_kg"]) for x in plan.plan["lifts"]]
    assert len(made) > 1
    assert [(x.lift, x.depth_mm, x.mass_kg) for x in lifts_of([pour])] == made
